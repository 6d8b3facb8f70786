"""What no page may say about a wall outside the fixed cautions, by language: by hand, not taken from the code."""

import re

CAUTIONS = {
    "en": (
        "This page reports measurements of how far marks on the wall have moved. It is not a structural assessment and "
        "does not say whether the wall or house is safe. Only a licensed engineer who has seen it can judge that.",
        "Leave the area by the wall, keep others out, and call an engineer (or the emergency number if anything is "
        "falling) at once if: you hear cracking; blocks bulge, crumble or fall; a new crack opens, or one side of a "
        "crack stands out further than the other; the wall's bottom or top has shifted; doors or floor above suddenly "
        "change; water breaks through. Do not store or sleep beside the wall. Do not prop it yourself. Do not wait for "
        "our next visit.",
    ),
    "es": (
        "Esta página informa sobre mediciones de cuánto se han movido unas marcas en la pared. No es una evaluación "
        "estructural y no dice si la pared o la casa es segura. Solo un ingeniero con licencia que la haya visto puede "
        "juzgarlo.",
        "Aléjese de la zona junto a la pared, no deje que nadie se acerque y llame de inmediato a un ingeniero (o al "
        "número de emergencias si algo se está cayendo) si: oye crujidos; hay bloques que se abomban, se desmoronan o "
        "se caen; se abre una grieta nueva, o un lado de una grieta sobresale más que el otro; la base o la parte "
        "superior de la pared se ha desplazado; las puertas o el piso de arriba cambian de repente; entra agua con "
        "fuerza. No guarde cosas ni duerma junto a la pared. No la apuntale por su cuenta. No espere a nuestra próxima "
        "visita.",
    ),
}
FORBIDDEN = {
    "en": (
        *("safe", "safely", "safety", "stable", "stability", "stabili[sz]ed?", "secured?", "securely", "fixed"),
        *(
            "stopped",
            "permanent",
            "permanently",
            "guarantee",
            "guaranteed",
            "certif(?:y|ied|icate)",
            "passed",
            "normal",
        ),
        *(
            "normally",
            "warranty",
            "covered",
            "upgrade",
            "neighbours?",
            "neighbors?",
            "no risk",
            "risk-free",
            "no danger",
        ),
        *("nothing to worry", "do not worry", "within tolerance", "due to", "because of", "approved", "will reach"),
    ),
    "es": (
        *("segur[oa]s?", "seguridad", "seguramente", "asegur\\w+", "estables?", "estabilidad", "estabiliz\\w+"),
        *(
            "fij[oa]s?",
            "fijad\\w+",
            "arreglad[oa]s?",
            "reparad[oa]s?",
            "detenid\\w+",
            "detuvo",
            "parad[oa]s?",
            "par[óo]",
        ),
        *(
            "permanentes?",
            "permanentemente",
            "garant\\w+",
            "certific\\w+",
            "aprobad\\w+",
            "sin riesgos?",
            "sin peligro",
        ),
        *("normal", "normales", "normalmente", "normalidad", "preocup\\w+", "tranquil\\w+", "tolerancias?", "debido a"),
        *("a causa de", "por culpa", "cubiert[oa]s?", "cobertura", "vecin[oa]s?", "mejora\\w*", "ofertas?", "firmes?"),
        *("sólid[oa]s?", "a salvo", "llegará", "alcanzará"),
    ),
}


def said_wrongly(text: str, code: str) -> list[str]:
    """Forbidden words in the text of a page; a caution that does not stand word for word is one too."""
    missing = [caution for caution in CAUTIONS[code] if caution not in text]
    for caution in CAUTIONS[code]:
        text = text.replace(caution, " ")
    return missing + re.findall(rf"\b(?:{'|'.join(FORBIDDEN[code])})\b", text.lower())
