"""A diagnosis as a result: ranked causes, evidence for and against, what to measure next."""

from __future__ import annotations

from collections.abc import Sequence

from byrewright.results import Finding, Input, Result, Table, Verdict
from byrewright.site.condition.causes import SOUND, Diagnosis
from byrewright.site.condition.taken import Taken

STUDY = "diagnose"
AHEAD = 6
SIMPLE = (
    "What two faults do is taken to add, and half a fault to do half. Chances rest on the rates of "
    "the failure ways, which are known within a factor of three."
)


def diagnosis_result(
    plant: str, found: Diagnosis, complaints: Sequence[str], taken: Sequence[Taken]
) -> Result:
    """The diagnosis in the shape of every study."""
    first = found.causes[0]
    sound = first.faults == (SOUND,)
    ahead = found.next[0].sentence if found.next else ""
    verdict: Verdict = "unknown" if not found.decided else "holds" if sound else "fails"
    says = first.sentence if found.decided else f"Not decided yet; likeliest: {first.sentence}"
    if not found.fits:
        says = (
            "No fault that is known here, nor two of them, explains what was read. "
            + (f"The nearest is: {first.sentence} " if first.speaks_for else "")
            + "Read again, and state the instrument's true uncertainty."
        )
    elif not found.decided:
        says += f" Next: {ahead}" if ahead else " No reading of this plant would tell more."
    finding = Finding(
        key="diagnose.cause", subject=first.tag, title="Likeliest cause",
        value=round(100.0 * first.share, 1), unit="%", sentence=says, verdict=verdict,
        formula="prior from failure rates x likelihood of what was read and said, over all faults",
        inputs=tuple(Input("", t.reading.check, t.reading.value, "", t.who) for t in taken[-12:]),
        source="byrewright's own model", confidence="derived",
        missing=() if found.decided else (ahead or "a reading that tells more",),
    )  # fmt: skip
    notes = [SIMPLE]
    if complaints:
        notes.insert(0, f"Complaints: {', '.join(complaints)}.")
    if found.two > 0.1:
        notes.append(f"With a chance of {100 * found.two:.0f} % two faults are there at once.")
    if found.not_used:
        notes.append(f"Nothing here predicts {', '.join(found.not_used)}: not used.")
    if found.unseen:
        notes.append(
            f"{len(found.unseen)} ways to fail move no reading that is taken here (valves, "
            "sensors, power and the like): they are not in the list, look at them too."
        )
    return Result(
        STUDY, plant, (finding,),
        (
            Table("diagnose.causes", "Causes, the likeliest first",
                  ("chance", "cause", "speaks for it", "speaks against it", "do"),
                  ("%", "", "", "", ""),
                  tuple((round(100 * c.share, 1), c.sentence, "; ".join(c.speaks_for),
                         "; ".join(c.speaks_against), c.do) for c in found.causes)),
            Table("diagnose.next", "What to measure next, the most telling for each minute first",
                  ("measure", "at", "minutes", "tells", "for each hour"),
                  ("", "", "min", "bit", "bit"),
                  tuple((n.test, n.at, n.minutes, round(n.bits, 3),
                         round(60 * n.bits / n.minutes, 2)) for n in found.next[:AHEAD])),
        ),
        notes=tuple(notes),
    )  # fmt: skip
