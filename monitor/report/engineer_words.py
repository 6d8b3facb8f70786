"""What the engineer's page says of methods, formulas and sources. Bibliographic data are from memory."""

from collections.abc import Mapping, Sequence

from monitor.terms import Method

BLIND: Mapping[str, str] = {
    Method.STRING: (
        "A string hangs on the wall itself: whatever its two ends do drops out of every reading. It shows how far "
        "marks stand in from the line between its ends, not whether those ends come in together, tip or slide."
    ),
    Method.PLUMB: (
        "A plumb line hangs from a point whose place is not known, so each hanging has an offset of its own. It shows "
        "lean and bow up its column, never a slide of the whole column, nor anything between columns."
    ),
    Method.LASER: (
        "Each placing of a laser stands at an unknown distance and somewhat turned. Only differences between marks "
        "read from one placing count; what all of them do alike is not seen."
    ),
    Method.METER: (
        "A distance meter sees all that changes between its base and the mark: a base or an opposite wall that moves "
        "reads as movement of this wall."
    ),
}
BLIND_ALWAYS: Sequence[str] = (
    "Only the marks are read. What the wall does between them, behind a finish, or in its own plane, and whether it "
    "settles or cracks, is not measured.",
    "The fit takes the wall's shape as given: along the wall a half sine between two return walls (a quarter sine from "
    "the held end where the other is free, 1 where both are free); over the height a hinge at the crack for bow, a "
    "straight line from the floor for tip, 1 for slide. A mark may depart from that shape by its own rate.",
    "Nothing is said about any day after the last visit.",
)

FORMULAS: Sequence[tuple[str, str, str]] = (
    (
        "A reading",
        "y = level + (φ · rate + local) (t − t₀) + φ_bow (c cos 2πt + d sin 2πt + wobble) + offset + yaw (x − L/2) "
        "+ tilt z + ε",
        "Deflection, inward positive: stand-off less gap, less distance, or as read. t in years of 365.25 days; x from "
        "the left corner, z above the floor, in m. One level per mark and stretch, one rate per component and period, "
        "one local deviation per mark and period, one wobble per visit; offset, yaw and tilt per set-up. φ as the "
        "reading's method sees it: for a string less the straight line between φ at its two ends.",
    ),
    (
        "Covariance",
        "V = diag(σ² + step²/12) + Σ offset², yaw², tilt² by set-up + ψ² φ_bow φ_bow′ by visit "
        "+ ρ^|s−s′| (A²/2) cos 2π(t−t′) φ_bow φ_bow′ + (ω² + κ² r²) (t−t₀)(t′−t₀) by mark and period",
        "σ the sd of one reading, doubled where the person was in doubt, step the finest step noted; ψ wobble, A the "
        "yearly cycle, ρ its carry from one period s to the next, ω and κ the local deviation, r the largest mark rate "
        "of a first pass. Offsets of unknown size are columns of X instead.",
    ),
    (
        "Rates",
        "β = (X′V⁻¹X)⁻¹ X′V⁻¹y,  var β = s² (X′V⁻¹X)⁻¹",
        "Generalised least squares (Aitken 1936). Rates, levels and offsets of unknown size have flat priors and are "
        "the fixed effects; everything else is random and stands in V, which is the same as one row of "
        "pseudo-observation for each prior. A mark's rate is φ · rate plus the best linear unbiased prediction of its "
        "own deviation (Henderson 1975).",
    ),
    (
        "Scale",
        "s² = (d₀ s₀² + q) / (d₀ + d),  q = (y − Xβ)′ V⁻¹ (y − Xβ)",
        "q and d of this period alone; d₀ and s₀² from all of the company's walls (Smyth 2004, by maximum likelihood).",
    ),
    (
        "Bounds",
        "rate ± t(0.95; d₀ + d) s √var",
        "One-sided 95 % each way; together the truth lies between them 9 times in 10. The wall's own pair is the "
        "largest lower bound over its marks at level 1 − 0.05/M, M the effective number of marks (Li and Ji 2005), and "
        "the largest upper bound at 0.95.",
    ),
    (
        "Residuals",
        "P = V⁻¹ − V⁻¹X (X′V⁻¹X)⁻¹X′V⁻¹,  a = Py,  residual = σᵢ² aᵢ,  normalised = aᵢ / (s √Pᵢᵢ)",
        "The residual is what the fit takes for the error of the single reading. Normalised, it equals the reading "
        "less what all others foretell, over the sd of that difference; a likely misread is beyond 4.",
    ),
    (
        "Measured or not",
        "1 / (M_cc (M⁻¹)_cc) ≥ 0.05",
        "M the information of the rates once levels, local deviations and cycle are unknown. A component that keeps "
        "less of its information beside the others is not measured, and no number is shown for it.",
    ),
    (
        "Moving",
        "Σⱼ mean over marks of ∫ LR(r) dπ(r) ≥ 1/α",
        "Mixture likelihood ratio of all rates above the threshold against the threshold (Robbins 1970), from every "
        "starting visit j of the period, added up (Shiryaev 1963, Roberts 1966; Shin, Ramdas and Rinaldo 2024).",
    ),
    (
        "Variances",
        "restricted maximum likelihood over the company's walls",
        "On the logarithms of the sds, with log-normal priors around the instruments' defaults (Patterson and Thompson "
        "1971). They are given here, not estimated from this wall.",
    ),
)

SOURCES: Sequence[str] = (
    "Aitken, A. C. (1936). On least squares and linear combinations of observations. Proc. R. Soc. Edinburgh 55, "
    "42-48.",
    "Henderson, C. R. (1975). Best linear unbiased estimation and prediction under a selection model. Biometrics 31, "
    "423-447.",
    "JCGM 100:2008. Guide to the expression of uncertainty in measurement; F.2.2.1 for rounding, step / √12.",
    "Li, J. and Ji, L. (2005). Adjusting multiple testing in multilocus analyses using the eigenvalues of a "
    "correlation matrix. Heredity 95, 221-227.",
    "Patterson, H. D. and Thompson, R. (1971). Recovery of inter-block information when block sizes are unequal. "
    "Biometrika 58, 545-554.",
    "Robbins, H. (1970). Statistical methods related to the law of the iterated logarithm. Ann. Math. Statist. 41, "
    "1397-1409.",
    "Roberts, S. W. (1966). A comparison of some control chart procedures. Technometrics 8, 411-430.",
    "Shin, J., Ramdas, A. and Rinaldo, A. (2024). E-detectors: a nonparametric framework for sequential change "
    "detection. New Engl. J. Stat. Data Sci. 2, 229-260.",
    "Shiryaev, A. N. (1963). On optimum methods in quickest detection problems. Theory Probab. Appl. 8, 22-46.",
    "Smyth, G. K. (2004). Linear models and empirical Bayes methods for assessing differential expression. Stat. Appl. "
    "Genet. Mol. Biol. 3, article 3.",
)
