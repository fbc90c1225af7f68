"""The one catalogue of messages about files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Severity = Literal["error", "advice"]


@dataclass(frozen=True, slots=True)
class Message:
    """An entry of the catalogue: the sentence with its blanks, and how to put it right."""

    template: str
    repair: str
    severity: Severity = "error"
    alike: Literal["", "code", "found", "group", "key"] = ""
    """Which of its kind have one cause and are told as one: all, those that found the same word,
    those in the same group of keys, or at the same key; "" for none."""


CATALOGUE: Mapping[str, Message] = {
    # the file as such
    "F001": Message("the file cannot be read: {why}", "Check the name of the file and who may read it."),
    "F002": Message("this is a folder, not a file", "Name the file in it."),
    "F003": Message("the file is too large: {found}, at most {allowed}",
                    "Use `count` for machines that are alike; a plant of 200 stalls needs well under 1 MB."),
    "F004": Message("the file is not UTF-8 text (byte {found})", "Save it as UTF-8 in your editor."),
    "F005": Message("the file is empty", "Start from a draft or an example."),
    "F006": Message("a tab stands here; YAML is indented with spaces", "Replace the tab by two spaces."),
    "F007": Message("this cannot be read as YAML: {why}", "Look at this line and the one above: a bracket, quote or colon "
                    "that is missing, or an indent that differs from its neighbours."),
    "F008": Message("nested too deeply: at most {allowed} levels", "A plant file needs five levels."),
    "F009": Message("the reference *{found} is not defined above it, or repeats too much", "Write the values out, or use `count`."),
    "F010": Message("{found} stands twice in the same place; the first is on line {allowed}",
                    "Remove one of the two, or give it another tag.", alike="key"),
    "F011": Message("the tag {found} is not accepted", "Write the plain value without a tag beginning with `!`."),
    "F012": Message("a character that cannot stand in text ({found})", "Remove it; it was perhaps pasted by accident."),
    "F013": Message("the file holds more than one document", "Remove the line `---` and what follows, or make two files."),
    "F014": Message("expected keys with values, such as {allowed}, found {found}", "Start from a draft or an example."),
    # fields
    "F020": Message("the key is not known{near}", "Use one of the keys listed in docs/file-format.md.", alike="group"),
    "F021": Message("{found} is not a kind of machine{near}", "Use a kind listed in docs/file-format.md.", alike="found"),
    "F022": Message("missing: {meaning}{allowed}", "Add the key; the sentence says in which unit and range."),
    "F024": Message("{found} is not {allowed}", "Write a value of the sort named."),
    "F025": Message("{why}", "Write the number in the unit named, or with one of the units offered."),
    "F026": Message("{found} is out of range: {allowed}", "Check the unit and the decimal point."),
    "F027": Message("{found} is not one of {allowed}", "Use one of the words listed."),
    "F028": Message("{found} given, {allowed} needed", "Give as many values as are needed."),
    "F029": Message("{why}", "Write it as shown."),
    "F030": Message("version {found} of the format is not known; this program reads version {allowed}",
                    "Write the version this program reads, or use a newer program."),
    "F033": Message("there is no milk-temperature rule for region {found}; there are rules for {allowed}. Name one of these, or "
                    "write its rule under `regions` in limits.yaml beside the brief (docs/file-format.md)",
                    "Name a region that is held, or write its rule in limits.yaml."),
    "F031": Message("{found} cannot be a tag: a letter, then letters, figures, `_` or `-`, 32 at most",
                    "Choose a tag such as VP1 or V11."),
    "F032": Message("the tag {found} is used twice; the first is on line {allowed}", "Give one of the two another tag."),
    # references between parts
    "F040": Message("there is no machine {found}{near}", "Name a machine that is in `equipment`.", alike="found"),
    "F041": Message("{found} is {what}, which {lacks}", "Name a machine that can do it."),
    "F042": Message("there is no group {found}{near}", "Name a group that is in `herd.groups`.", alike="found"),
    "F043": Message("there is no mode {found}{near}", "Name a mode that is in `modes`.", alike="found"),
    "F044": Message("modes take their positions from each other in a circle: {found}", "Let one of them stand alone."),
    "F045": Message("{found} is not a state of {what}; it has {allowed}", "Use one of the states listed."),
    "F046": Message("{what} has no states, so no mode can set it", "Remove the line."),
    # pipes
    "F050": Message("{found} is not written machine.port", "Write the tag, a full stop and the port, as in VP1.inlet."),
    "F051": Message("{what} has no port {found}{near}", "Use one of the ports listed in docs/file-format.md."),
    "F052": Message("{what} and {found} have no service in common: {allowed}",
                    "Join ports that carry the same service."),
    "F053": Message("the ports leave a choice of service: {allowed}", "Add `service:` with one of them."),
    "F054": Message("these ports cannot carry {found}; they carry {allowed}", "Correct `service:`, or join other ports."),
    "F055": Message("the port {found} is already joined by pipe {allowed}",
                    "Join the pipes with a header, or use a port of your own for each."),
    "F056": Message("the pipe begins and ends at the same port {found}", "Correct one of its ends."),
    "F057": Message("missing port: no pipe reaches {found}{allowed}", "Add the pipe, or remove the machine.", alike="code"),
    # the plant as a whole
    "C001": Message("no mode does milking", "Add a mode with `does: milking`."),
    "C002": Message("the groups hold {found} cows, the herd {allowed}", "Make the groups add up to the herd."),
    "C003": Message("{found} of {allowed} cows have their milk withheld", "Correct `withheld_cows`."),
    "C004": Message("nothing gives milk: no machine of kind milking_unit", "Add the milking units."),
    "C005": Message("there is no platform, so no stalls", "Add a machine of kind platform."),
    "C006": Message("milk has nowhere to go: no bulk tank and no tanker bay", "Add a tank or a tanker bay."),
    "C007": Message("two milkings start at {found}", "Give each its own start."),
    "C008": Message("power goes round in a circle: {found}", "Feed a switchboard from a supply, not from what it feeds."),
    "C009": Message("{found} degC is not a temperature of water that runs: 0.1 to 40 degC", "Check the unit."),
    "C010": Message("{found} degC is not an ambient a farm has: -50 to 55 degC", "Check the unit."),
    "C011": Message("{found} is not less than {allowed}", "Correct one of the two."),
    "C012": Message("{found} L is more than the vessel holds ({allowed} L)", "Correct the level or the volume."),
    "C014": Message("there is no rule set for region {found}{near}", "Use a region that has one; without it what its rules judge is unknown.", "advice"),
    "C015": Message("the groups withhold {found} cows, `withheld_cows` says {allowed}", "Correct one of the two."),
    "C016": Message("{found} and {allowed} both {what}, so nothing flows in the pipe", "Correct one of its ends.", alike="code"),
    "C020": Message("no collection is stated", "Add `collections` so that storage can be judged.", "advice"),
    "C021": Message("{found} is not fed from anything, so a loss of power cannot be followed to it",
                    "Add `fed_from` with a switchboard.", "advice", alike="code"),
    "C022": Message("{found} are fed from one switchboard, {allowed}: losing it stops them all", "Feed them from two boards.",
                    "advice"),
    "C023": Message("moved by air, but no `air_from` says which receiver", "Add `air_from`.", "advice", alike="code"),
    "C024": Message("{found}: taken so where a mode does not state it ({allowed})",
                    "State them in the modes, or `normally` at the valve.", "advice"),
    "C025": Message("is stopped in every mode", "Give it `runs` or `ready` in a mode, or remove it.", "advice", alike="code"),
    "C026": Message("milking lasts {found}, past the start of the next at {allowed}", "Check target hours and starts.",
                    "advice"),
    "C027": Message("milk is withheld but nothing keeps it apart",
                    "Add one, with bucket units or a divert line.", "advice"),
    "C028": Message("the shares of the milkings add up to {found}, not 1; they are scaled", "Make them add up to 1.", "advice"),
    "C029": Message("{found} milking units for {allowed} stalls of a rotary", "Give each stall one unit.", "advice"),
    "C030": Message("group {found} takes part in no milking", "Name it in the `groups` of a milking."),
    "C031": Message("{found} washes a day but {allowed} milkings; each wash follows a milking",
                    "Correct `washes_a_day`.", "advice"),
    "C040": Message("too pale to read on paper", "Take a darker colour.", "advice"),
    "C041": Message("{found} pass over it: {what} does not say that it {allowed}",
                    "Judge this machine by hand there, or give its kind the role.", "advice"),
    "C042": Message("drinking water reaches {found} and nothing of category {allowed} stands between",
                    "State an air gap, or add a backflow preventer as the local code says.", "advice"),
    "C043": Message("hard water ({found} mmol/L, above {allowed}) comes to it through no softener",
                    "Add a softener before it, or dose for the hardness as the label says.", "advice"),
    "C044": Message("states a fall of {found} %, {allowed} m over its length, but ends {what} its start: "
                    "the studies take the heights",
                    "Move what it joins, or correct the slope or the rise.", "advice"),
    "C045": Message("{found} washes a day are asked for but no mode does wash: none is judged",
                    "Add a mode with `does: wash`.", "advice"),
    # limits
    "L001": Message("no rule is called {found}{near}", "Use a key of the rulebook; a finding names the rules it used."),
    "L002": Message("{found} is not a number{allowed}", "Write one number for the rule."),
    "L003": Message("{found} is out of range: {allowed}", "Check the unit and the decimal point."),
    "L005": Message("{found} is neither a machine of this plant nor a kind{near}", "Name a tag or a kind, and its cost."),
    "L006": Message("{found} is not a cost: a number above 0 and below {allowed}", "Write one number for each machine or kind."),
    "L007": Message("{found}", "Write the table as the standard has it: looped: {73: {0.5: 1, 1.0: 2}} (bore in mm, slope in %)."),
    "L004": Message("no study reads {found} yet, so it would change nothing{near}", "Remove the line."),
}  # fmt: skip
"""Every message about a file, by code: F any file, C the plant as a whole, L the limits file."""
