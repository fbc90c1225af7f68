"""The interlock table as IEC 61131-3 Structured Text, and as an IEC 61131-10 exchange file.

Plain constructs only: BOOL, INT, TIME, the standard timers TON and TOF, AND, OR, NOT, =. The
element names of the exchange form were taken from files and readers of others that use it
(second-hand); the standard's own schema was not at hand, so try the import in your programming
system first.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from xml.etree import ElementTree as ET

from byrewright.engine.interlocks import DRAFT, Row, Signal, Table

BLOCK = "Valve_watch"
"""Name of the function block."""
XML_NAMESPACE = "www.iec.ch/public/TC65SC65BWG7TF10"
XSI = "http://www.w3.org/2001/XMLSchema-instance"
FIRST_DAY = "2000-01-01T00:00:00"  # fixed, so that the same plant gives the same bytes

Variable = tuple[str, str, str]
"""Name, type, comment."""


def structured_text(table: Table) -> str:
    """The whole function block as text."""
    lines = [*_header(table), f"FUNCTION_BLOCK {BLOCK}"]
    for title, variables in _sections(table):
        lines += [
            title,
            *(f"    {n} : {t}; (* {_comment(c)} *)" for n, t, c in variables),
            "END_VAR",
        ]
    lines += ["", *_body(table), "", "END_FUNCTION_BLOCK", ""]
    return "\n".join(lines)


def exchange_xml(table: Table) -> bytes:
    """The same block in the IEC 61131-10 exchange form."""
    ET.register_namespace("", XML_NAMESPACE)
    ET.register_namespace("xsi", XSI)

    def q(name: str) -> str:
        return f"{{{XML_NAMESPACE}}}{name}"

    root = ET.Element(q("Project"), {"schemaVersion": "1.0"})
    ET.SubElement(root, q("FileHeader"), {"companyName": "", "productName": "byrewright",
                                          "productVersion": "1"})  # fmt: skip
    ET.SubElement(
        root, q("ContentHeader"), {"name": _comment(table.plant), "creationDateTime": FIRST_DAY}
    )
    space = ET.SubElement(ET.SubElement(root, q("Types")), q("GlobalNamespace"))
    block = ET.SubElement(space, q("FunctionBlock"), {"name": BLOCK})
    ET.SubElement(block, q("Documentation")).text = DRAFT
    inputs, outputs, inner = (v for _, v in _sections(table))
    parameters = ET.SubElement(block, q("Parameters"))
    for parent, name, variables in (
        (parameters, "InputVars", inputs),
        (parameters, "OutputVars", outputs),
        (block, "Vars", inner),
    ):
        group = ET.SubElement(parent, q(name))
        for variable, kind, comment in variables:
            one = ET.SubElement(group, q("Variable"), {"name": variable})
            ET.SubElement(one, q("Documentation")).text = _comment(comment)
            ET.SubElement(ET.SubElement(one, q("Type")), q("TypeName")).text = kind
    body = ET.SubElement(
        ET.SubElement(block, q("MainBody")), q("BodyContent"), {f"{{{XSI}}}type": "ST"}
    )
    ET.SubElement(body, q("ST")).text = "\n".join(_body(table)) + "\n"
    ET.indent(root)
    text: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return text + b"\n"


def contact_name(signal: Signal) -> str:
    """The variable of a contact."""
    return f"I_{signal.tag}"


def alarm_name(row: Row) -> str:
    """The variable of a row's alarm."""
    return f"A_{row.tag}"


def permit_name(table: Table, mode: str) -> str:
    """The variable that permits a mode to begin."""
    return f"Permit_mode_{table.number(mode)}"


def _header(table: Table) -> list[str]:
    rows = [f"Valve and pump positions: alarms and permissives. Plant: {table.plant}", DRAFT]
    rows += [
        "Outputs are proposals: nothing here may be the only guard of people, animals or milk."
    ]
    rows += ["", "Modes:", *(f"  {i} = {m}" for i, m in enumerate(table.modes, 1))]
    return ["(*", *(f"  {_comment(r)}" for r in rows), "*)"]


def _comment(text: str) -> str:
    """Text that cannot end a comment early, in the characters every system takes."""
    plain = text.replace("*)", "* )").replace("(*", "( *")
    return " ".join("".join(c if c.isascii() and c.isprintable() else "?" for c in plain).split())


def _sections(table: Table) -> list[tuple[str, list[Variable]]]:
    inputs: list[Variable] = [("Mode", "INT", "number of the mode, from 1")]
    inputs += [(contact_name(s), "BOOL", s.meaning) for s in table.signals]
    outputs: list[Variable] = [
        (alarm_name(r), "BOOL", f"{r.priority}: {r.text}") for r in table.rows
    ]
    outputs += [(permit_name(table, m), "BOOL", f"mode {m} may begin") for m in table.modes]
    outputs += [(e.tag, "BOOL", e.meaning) for e in table.effects]
    inner: list[Variable] = []
    for row in table.rows:
        inner += [(f"C_{row.tag}", "BOOL", "cause"), (f"On_{row.tag}", "TON", "on delay"),
                  (f"Off_{row.tag}", "TOF", "off delay")]  # fmt: skip
    return [("VAR_INPUT", inputs), ("VAR_OUTPUT", outputs), ("VAR", inner)]


def _body(table: Table) -> list[str]:
    names = {s.tag: contact_name(s) for s in table.signals}
    out: list[str] = []
    for row in table.rows:
        modes = " OR ".join(f"Mode = {table.number(m)}" for m in row.modes)
        out += [
            "",
            f"(* {_comment(row.text)}. Do: {_comment(row.do)} *)",
            f"C_{row.tag} := ({modes}) AND NOT {_right(row, names)};",
            f"On_{row.tag}(IN := C_{row.tag}, PT := {_time(row.on_delay_s)});",
            f"Off_{row.tag}(IN := On_{row.tag}.Q, PT := {_time(row.off_delay_s)});",
            f"{alarm_name(row)} := Off_{row.tag}.Q;",
        ]
    out += ["", "(* What must be right before each mode may begin *)"]
    for mode in table.modes:
        terms = dict.fromkeys(_right(r, names) for r in table.rows if r.before and mode in r.modes)
        out += _assignment(permit_name(table, mode), terms, "AND", "TRUE")
    out += ["", "(* What each alarm does *)"]
    for effect in table.effects:
        causes = [alarm_name(r) for r in table.rows if effect.tag in r.effects]
        out += _assignment(effect.tag, causes, "OR", "FALSE")
    return out


def _right(row: Row, names: dict[str, str]) -> str:
    """The condition under which a row is content."""
    own = " AND ".join([*(names[t] for t in row.on), *(f"NOT {names[t]}" for t in row.off)])
    if not row.unless:
        return f"({own})"
    return f"(({own}) OR ({' AND '.join(names[t] for t in row.unless)}))"


def _assignment(name: str, terms: Iterable[str], word: str, empty: str) -> Iterator[str]:
    """An assignment with one term a line."""
    every = list(terms)
    if not every:
        yield f"{name} := {empty};"
        return
    yield f"{name} :="
    for place, term in enumerate(every):
        lead = word.ljust(4) if place else " " * 4
        yield f"    {lead}{term}{';' if place == len(every) - 1 else ''}"


def _time(seconds: float) -> str:
    return f"T#{round(seconds * 1000)}ms"
