"""The words of Brinemark with their units and one-line meanings; docs/terms.md is made from this list."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Term:
    """unit : as it is printed, "" for a word that is no quantity; meaning : one sentence."""

    unit: str
    meaning: str


LEVEL = "level unit (ug/L)"
SIGNAL = "signal unit (A, C, V or 1)"

THINGS = {
    "electrode": Term("", "One hand-made piece of coated glass; it is used for one run and then thrown away."),
    "batch": Term("", "Electrodes made together, usually four to six; they share paste, oven and dye bath."),
    "making": Term("", "How a batch was made: its electrodes, named before any is used, and the factors behind it."),
    "factor": Term("", "One thing about a making that may explain scatter: thickness, oven, time in the dye."),
    "ready": Term("", "State of an electrode that was made and is neither laid out, spent nor set aside."),
    "laid out": Term("", "State of an electrode that an open run plan counts on."),
    "spent": Term("", "State of an electrode that has rows on a run sheet; it cannot be used again."),
    "set aside": Term("", "State of an electrode that is not to be used, for a reason; it can be taken back."),
    "position": Term("", "Where in its batch an electrode was made, for example its place in the oven."),
    "instrument": Term("", "The potentiostat or spectrometer that measured, by the id the laboratory gives it."),
    "run": Term("", "One sitting at one instrument with its blanks, standards and controls."),
    "run sheet": Term("", "The table that goes into the logbook: one row for one reading of one electrode."),
    "run plan": Term("", "A run laid out before it is measured: what each electrode reads, and the order, by lot."),
    "code": Term("", "Five characters that stand for a sample on the sheet; the last shows a slip of the pen."),
    "departure": Term("", "One way in which a sheet differs from its run plan; it is told, not refused."),
    "logbook": Term("", "The directory the user owns: settings, records and the original files."),
    "original": Term("", "A file as it came, byte by byte, named by the sha256 of its bytes."),
    "record": Term("", "A frozen statement with an id made from what it came from; a correction is a new record."),
    "report": Term(
        "", "A document to hand over: PDF/A with the data behind it attached; the same records give the same bytes."
    ),
    "batch history": Term("", "All earlier batches together; it tells how far apart batches of this making lie."),
    "covariate": Term(
        "unit of the quantity read",
        "A quantity read from the pre-scan that explains part of the scatter between electrodes; used as x, "
        "the logarithm of its ratio to the median of the calibration electrodes. There may be several.",
    ),
    "defective film": Term("", "A film with much lower or higher gain than its batch; may be part of the model."),
    "charging current": Term(
        "A",
        "Half the distance between the anodic and the cathodic sweep where no wave stands: scan rate times capacitance "
        "of double layer and film.",
    ),
}

MEASURED = {
    "blank": Term("", "A row whose cell holds seawater without the analyte: level 0."),
    "standard": Term("", "A row whose level is known because it was made up; standards and blanks calibrate."),
    "control": Term("", "A sample of known level, read like a sample and compared with it, never fitted."),
    "check standard": Term("", "A control made up like a standard; its recovery speaks for its run."),
    "spiked water": Term("", "A control made from a water that is not the standards', with a known rise of its level."),
    "run control": Term("", "Whether a run counts, by its blanks and controls; else its samples cannot be read."),
    "sample": Term("", "Water of unknown level."),
    "consignment": Term("", "Fish or water samples that arrived together."),
    "tank": Term("", "One body of water that held fish and was sampled."),
    "pre-scan": Term("", "The electrode's own sweep in clean seawater before anything else touches it."),
    "addition": Term("", "A known amount of the analyte put into the cell after the main reading."),
    "stock": Term("", "A solution of known level that standards and additions are made from; they share its error."),
    "life": Term("", "All readings of one electrode in order: pre-scan, main reading, what follows."),
    "dip": Term("1", "Place of a reading in a life: -1 pre-scan, 0 main reading, 1, 2, ... what follows."),
    "zero reading": Term(SIGNAL, "The pre-scan read at the analyte's own place: the electrode's reading at level 0."),
    "closing spike": Term("", "A saturating addition at the end of an electrode's life."),
    "drift": Term("1", "Change of an electrode's gain from one dip to the next, as a logarithm; its scatter is s_eta."),
    "standard addition": Term("", "Reading a sample from the rise of the signal on known additions to it."),
    "dilution": Term("1", "Volume after dilution over volume of sample; 1 when undiluted."),
    "level": Term(LEVEL, "Mass concentration of the analyte, for thiocyanate of the ion SCN-, 58.08 g/mol."),
    "cell level": Term(LEVEL, "Level in the cell at a reading: 0, the standard's, or c/dilution, and what was added."),
    "sample level": Term(LEVEL, "Level in the sample as taken; every statement about a sample is on this scale."),
    "matrix lot": Term("", "The lot of seawater that served as blank, solvent of standards or diluent."),
    "allowance": Term("", "How far beyond the span of the standards' conditions a sample is still read."),
    "salinity": Term("1 (practical salinity)", "Salt content of the water on the practical scale."),
    "custody": Term("", "Who held a sample, when and where, from taking to reading."),
    "recovery": Term("1", "Level found over level made up; for a spiked water the rise found over the rise made."),
    "repeatability": Term("as the quantity", "Scatter of results under the same conditions in one sitting."),
}

CURVE = {
    "potential": Term("V", "Potential of the electrode against the stated reference, symbol E."),
    "current": Term("A", "Current through the electrode, anodic positive after reading."),
    "scan rate": Term("V/s", "How fast the potential changes, symbol v."),
    "trace": Term("", "One voltammogram: potential and current in the order in which they were measured."),
    "sweep": Term("", "One stretch of a trace in which the potential moves one way: anodic up, cathodic down."),
    "cycle": Term("", "An anodic and a cathodic sweep that follow one another."),
    "window": Term("V", "The stretch of potential, low to high, in which the signal is read."),
    "baseline": Term("A", "The current that would flow without the analyte's wave, drawn inside the window."),
    "chord": Term("A", "A baseline that is a straight line between robust means at both ends of the window."),
    "polynomial baseline": Term("A", "A baseline of degree 3 through the points outside the wave."),
    "whittaker baseline": Term("A", "A stiff smooth curve through the points outside the wave."),
    "wave": Term("", "Place and shape of the analyte's response on a sweep; learned or theoretical."),
    "signal": Term(SIGNAL, "The number read from a trace, symbol y; it may be negative and is never cut at 0."),
    "peak height": Term("A", "Height of the wave above the baseline at its expected place."),
    "charge": Term("C", "Integral of the current above the baseline over time."),
    "half-width": Term("V", "Width of the wave at half its height."),
    "scan-rate study": Term("", "Height of a wave at several scan rates: it diffuses, or is bound to the surface."),
    "standard uncertainty": Term("as the quantity", "Standard deviation that stands for what is not known, symbol u."),
    "flag": Term("", "A remark on a signal with the number behind it and its limit."),
    "signal definition": Term("", "Quantity, sweep, cycle, window and baseline: everything that changes the number."),
    "signal study": Term(
        "", "Signal definitions ranked by the error of the amount, on blanks, standards and controls alone."
    ),
    "definition lock": Term(
        "",
        "How the signal was chosen, as it stood when a sample was first read: definitions tried, and whether blind.",
    ),
    "proposed window": Term("V", "A window laid around what rises with the level within batches, by the curves alone."),
    "spectrum": Term("", "Absorbance against wavelength: what a spectrometer sees of a transparent electrode."),
    "absorbance": Term("1", "Decadic, A = -log10 T, with T the share of the light that comes through."),
    "band": Term("", "Place and shape of what the analyte does to a spectrum; what a wave is to a sweep."),
    "stray light": Term("1", "Light at the detector that has not come through the sample, as a share of all light."),
}

MODEL = {
    "calibration": Term("", "The posterior of the response model from all electrodes whose levels are known."),
    "gain": Term(SIGNAL, "What multiplies the whole response of one electrode, symbol G."),
    "floor": Term("1", "Signal without analyte over the full rise of the signal, symbol phi."),
    "K": Term(LEVEL, "Level at which half of the rise is reached."),
    "h": Term("1", "Exponent of the level in the response; 1 is one kind of equal binding sites."),
    "theta": Term("1", "Occupied share of the binding sites, c^h / (K^h + c^h)."),
    "plateau": Term("1", "What theta reaches at levels far above K; 1 by definition for the standards."),
    "batch scatter": Term("1", "Standard deviation of ln gain between batches."),
    "electrode scatter": Term("1", "Standard deviation of ln gain between electrodes of one batch."),
    "instrument noise": Term(SIGNAL, "Additive noise of an instrument beyond the noise of the trace, symbol s0."),
    "prior": Term("", "What is assumed about a parameter before the data, relative to the data's own scale."),
    "draw": Term("", "One set of parameters from the posterior; calibrations keep many of equal weight."),
    "gate": Term("1", "A numerical test that a calibration must pass; if it fails nothing is stored."),
    "seed": Term("", "The whole number that fixes all random numbers of a computation."),
    "fold": Term("1", "Upper end of an interval over its lower end."),
    "left-out error": Term(
        "1",
        "Mean of |ln((read + d)/(true + d))| over electrodes read by what the other batches teach; d is 0.2 of the "
        "middle standard.",
    ),
    "critical value": Term(LEVEL, "Level whose median signal a blank exceeds with probability alpha only."),
    "minimum detectable value": Term(LEVEL, "Level that is detected with probability 1 - beta."),
    "working range": Term(LEVEL, "Levels between which the expected fold stays within the largest allowed fold."),
    "alpha": Term("1", "Probability that a blank is called detected."),
    "beta": Term("1", "Probability that a sample at the minimum detectable value is not detected."),
}

STATEMENTS = {
    "reading": Term("", "What is said about one sample: one of the five statements, with its reason or numbers."),
    "cannot say": Term("", "Something that the statement needs is missing; the reason and what would help follow."),
    "not detected": Term("", "A blank gives such a signal often enough; stated with an upper limit of the level."),
    "at or above": Term("", "Detected, but no level is too high for this signal; only a lower limit is stated."),
    "quantified": Term("", "Detected, with a two-sided interval narrow enough and inside the working range."),
    "detected, amount uncertain": Term("", "Above the critical value, but the interval is too wide to be an amount."),
    "upper limit": Term(
        LEVEL, "One-sided: higher levels give so low a signal with less than the stated error probability."
    ),
    "lower limit": Term(
        LEVEL, "One-sided: lower levels give so high a signal with less than the stated error probability."
    ),
    "two-sided interval": Term(LEVEL, "The levels that the signal does not contradict, at the stated probability."),
    "share": Term("1", "Part that one electrode has in what is known about a sample read on several."),
    "evidence": Term("", "How much more probable the readings are under one proposition than under another."),
    "proposition": Term("", "A statement about what happened to the fish that the other side denies."),
    "likelihood ratio": Term("1", "Probability of the readings under one proposition over that under the other."),
    "study": Term("", "A plan simulated from making to statement many times, on electrodes whose truth is known."),
    "answered": Term("1", "Share of samples whose two-sided interval spans no more than the wanted fold."),
    "pool of waters": Term("", "Waters poured together in equal parts and read as one; it tells of all, not of each."),
}

FISH = {
    "consignment": Term("", "Fish that came together, with their tanks, water samples and blanks."),
    "tank record": Term("", "The table of what happened to consignments: one row is one thing at one time."),
    "tank": Term("L", "Water that fish are kept in, from one filling on; filled anew it gets a new name."),
    "fish": Term("", "Animals of one history under one name: one catch, moved together."),
    "history": Term("", "What is known of fish before anything is read: unknown, captive-bred, exposed or not."),
    "water system": Term("", "Tanks that are filled from the same source water share it."),
    "source-water blank": Term("", "Water of a system before fish were in it; what it holds is not from the fish."),
    "field blank": Term("", "Clean water opened and handled beside the tank as a sample is."),
    "feed-leach blank": Term("", "Clean water in which feed stood; it shows what feed gives off."),
    "filter blank": Term("", "Clean water through the filter of the samples."),
    "duplicate": Term("", "A second sample of the same tank, taken beside the first."),
    "renewal": Term("L/d or 1", "Clean water for tank water: all the time, or a share of it at once."),
    "hold time": Term("h", "How long a stored sample was shown to keep its thiocyanate."),
    "hold": Term("h", "Fish kept in clean water, so that what they give off gathers there; then a sample is taken."),
    "marker": Term("", "What another method looked for, and where when that is not the water of the sample."),
    "split sample": Term("", "Parts of one sample that are read by two methods."),
    "survey": Term("", "Tested tanks of many consignments, for the prevalence by origin and season."),
    "season": Term("", "Quarter of the capture, written 2031-2."),
    "prevalence": Term("1", "Share of tanks whose fish were exposed; stated in each world apart, or not at all."),
    "sensitivity": Term("1", "Probability that a test of a tank finds exposed fish, by its days, water and fish."),
    "false finding": Term("1", "Thiocyanate called found in the water of fish that were not exposed."),
    "mean ratio": Term("1", "Geometric mean of one method over another, with what was not found kept."),
}

SECTIONS = {
    "Electrodes and records": THINGS,
    "What is measured": MEASURED,
    "Curves": CURVE,
    "The response model": MODEL,
    "Readings and statements": STATEMENTS,
    "Fish and tanks": FISH,
}
GLOSSARY: dict[str, Term] = {word: term for section in SECTIONS.values() for word, term in section.items()}

PREAMBLE = """# Words and units

Every word below has one meaning in the program, its files and these pages. The list is made from
`brinemark.terms.glossary`; a test compares the two.

Levels are mass concentrations in ug/L unless the settings say otherwise. Potentials are in V against the
stated reference. Currents are in A, anodic positive. Time is in s for curves and in days for fish.
"""


def terms_page() -> str:
    """The text of docs/terms.md."""
    parts = [PREAMBLE]
    for title, section in SECTIONS.items():
        rows = [f"| {word} | {term.unit} | {term.meaning} |" for word, term in section.items()]
        parts.append("\n".join((f"## {title}", "", "| word | unit | meaning |", "|---|---|---|", *rows, "")))
    return "\n".join(parts)
