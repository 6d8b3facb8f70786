"""The proof of a page, and pages written again, as plain sentences for a terminal."""

from collections.abc import Sequence

from monitor.pipeline.editions import Edition
from monitor.pipeline.page_proof import PageProof, Standing
from monitor.pipeline.rebuilding import Rebuilt


def of_page(proof: PageProof) -> Sequence[str]:
    """What the ledger says of a page, sentence by sentence."""
    if proof.page is None or proof.edition is None:
        bears = f"It bears the number {proof.number}. " if proof.number and proof.standing is Standing.UNKNOWN else ""
        return [f"Unknown: no such page is on the ledger of this store. {bears}Nothing can be said about it."]
    page, edition = proof.page, proof.edition
    what = f"{page['page']}, page number {page['report_number']}, {_made(edition)}"
    lines = {
        Standing.AS_WRITTEN: f"This page is as we wrote it: {what}.",
        Standing.ON_RECORD: f"We wrote a page of this number: {what}. Whether a file that bears it was altered, only "
        "the file can tell: --page FILE.",
        Standing.ALTERED: f"ALTERED: this file is not the page we wrote under its number: {what}. Ask for the file as "
        "it was sent; a browser that saves a page may change it.",
    }
    said = [lines[proof.standing]]
    if proof.by and proof.by_edition:
        published = f"{proof.by_edition.published_at:%Y-%m-%d}"
        said.append(
            f"SUPERSEDED on {published} by page number {proof.by['report_number']}, {_made(proof.by_edition)}, because:"
        )
        said += [f"  {reason}" for reason in proof.because]
    elif proof.standing is not Standing.ALTERED:
        said.append("No newer page has taken its place.")
    return said


def for_anybody(proof: PageProof) -> Sequence[str]:
    """What may be told to whoever knows a page's number: nothing of whose wall it is, or of why it was replaced."""
    if proof.page is None or proof.edition is None:
        return [f"No page with the number {proof.number} is on our record."]
    said = [
        f"A page with the number {proof.number} is on our record, {_made(proof.edition)}. That the page you hold is "
        "word for word ours, only we can tell from the file itself."
    ]
    if proof.by and proof.by_edition:
        return [
            *said,
            f"Another page took its place on {proof.by_edition.published_at:%Y-%m-%d}, {_made(proof.by_edition)}: ask "
            "for that one.",
        ]
    return [*said, "No newer page has taken its place."]


def of_rebuilt(rebuilt: Rebuilt) -> Sequence[str]:
    """What pages written again are, and whether they equal those published."""
    edition = rebuilt.edition
    lines = [f"Pages {_made(edition)}."]
    if rebuilt.equal or rebuilt.differing:
        lines.append(
            f"{rebuilt.equal} of {rebuilt.equal + len(rebuilt.differing)} equal those published, byte for byte."
        )
    else:
        lines.append("They were never published, so there is nothing to compare them with.")
    if rebuilt.differing:
        lines.append(f"These differ: {', '.join(rebuilt.differing)}.")
    if rebuilt.by_other_version:
        lines.append(f"They were written by version {edition.code_version}; another version may write other bytes.")
    return lines


def _made(edition: Edition) -> str:
    run = edition.run
    return f"judged for {run.judged_on} from what was known until {run.known_until:%Y-%m-%d %H:%M} UTC"
