"""What every reader of a report has to know; from docs/safety.md, where the sources stand."""

from __future__ import annotations

SCREENING = (
    "This is a screening result. Before anything rests on it, an accredited laboratory confirms it, by mass "
    "spectrometry on a split sample."
)
NO_VERDICT = (
    "Nothing here is a verdict on a person, or says who did what. Local law, rules of custody and of evidence"
    " come first."
)
NOT_DETECTED = (
    "Not detected means below what these electrodes can see, which is stated as a limit. It is never the same"
    " as not exposed."
)
INTERVALS = (
    "Intervals cover how electrodes and batches differ, as far as blanks and standards have shown it. They do"
    " not cover how a sample was taken, kept, labelled or brought here."
)
THIOCYANATE = "thiocyanate"
OF_THIOCYANATE = (
    "Detected is thiocyanate, which is not cyanide. It has natural and industrial sources: natural waters "
    "from below 0.1 to about 58 ug/L have been reported (Microbiology Australia 2018, doi 10.1071/MA18047). A"
    " blank of the source water from the same system is not optional.",
    "Saliva holds far more thiocyanate than the sea (Research Journal of Pharmacy and Technology 2018, doi "
    "10.5958/0974-360X.2018.00449.3): mask, gloves, no mouth near a pipette, and a field blank opened on "
    "site.",
)
STANDARDS = (
    "Never mix thiocyanate with acid, and never with bleach, chlorine, bromine, ozone or peroxide without a "
    "written method of destruction: it can set free cyanogen chloride or hydrogen cyanide (ASTM D4193). No "
    "cyanide is needed for any of this work.",
)
MAKING = (
    "Making electrodes: ovens near 500 C, solvents near them, silanes that react with moisture, fine titania "
    "powder. Read the maker's safety sheet of each lot; hood, eye protection and gloves (common practice, no "
    "source).",
)


def of_samples(analyte: str) -> list[str]:
    """For statements about waters."""
    named = OF_THIOCYANATE if analyte == THIOCYANATE else ()
    return [SCREENING, *named, NOT_DETECTED, INTERVALS, NO_VERDICT]


OF_FISH = (
    "Thiocyanate in the water of a tank is not cyanide in its fish. Saliva, feed, sewage and industry can bring as much"
    " as is looked for, and a large tank with few fish is more likely to hold it from elsewhere.",
    "Where none is found, that does not show that fish were not exposed: after a few days there may be nothing left.",
    "Two groups contradict each other on whether thiocyanate from exposed fish can be found in their water at all. The"
    " first result could not be repeated; both are shown.",
    "No measurement in net-caught wild fish is known, so that the rate of false finds among them is unknown. "
    "Captive-bred fish do not stand for them.",
)
FOR_COURTS = (
    "As evidence a method needs tests, a known error rate, standards, review and acceptance. Thiocyanate in water has "
    "no known error rate for wild fish. A ratio says nothing of a person.",
    "Live animals: only their water is taken. Exposing fish to cyanide for a trial needs a permit and trained people; "
    "reading waters needs no cyanide.",
)
NO_ACID = (
    "Never acidify these waters, and never add azide, chlorine, bromine, ozone or peroxide: thiocyanate with oxidants "
    "can set free cyanogen chloride or hydrogen cyanide (ASTM D4193), and at the pH of seawater cyanide is hydrogen "
    "cyanide for the most part.",
)


def of_consignments(analyte: str) -> list[str]:
    """For what waters say of fish."""
    named = (*OF_THIOCYANATE, *OF_FISH) if analyte == THIOCYANATE else ()
    return [*named, INTERVALS, *FOR_COURTS, *(NO_ACID if analyte == THIOCYANATE else ()), NO_VERDICT]


def of_electrodes(analyte: str, *, made: bool) -> list[str]:
    """For what electrodes can do. made : a report to those who make them."""
    named = STANDARDS if analyte == THIOCYANATE else ()
    return [
        "What electrodes can do is stated for fresh ones, used once, within the conditions of the standards.",
        INTERVALS,
        *(MAKING if made else ()),
        *named,
        "Readings made with these electrodes screen. An accredited laboratory confirms.",
        NO_VERDICT,
    ]
