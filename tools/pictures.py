"""Make the pictures of docs/pictures again from the demo's pack. Needs pdftoppm (poppler-utils).

Run after `byrewright demo`: `.venv/bin/python tools/pictures.py out/demo`.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

PICTURES = Path(__file__).resolve().parents[1] / "docs" / "pictures"
SHEETS = {"milk": "1-milk", "vacuum": "2-vacuum"}
DOTS_AN_INCH = "110"


def main(pack: Path) -> None:
    """Turn the service drawings of a pack into PNG pictures."""
    import typst

    for name, stem in SHEETS.items():
        svg = (pack / "drawings" / f"{stem}.svg").resolve()
        page = f'#set page(width: auto, height: auto, margin: 0pt)\n#image("{svg.name}")\n'
        source = svg.with_suffix(".typ")
        source.write_text(page, encoding="utf-8")
        pdf = svg.with_suffix(".pdf")
        pdf.write_bytes(typst.compile(str(source), root=str(svg.parent)))
        subprocess.run(
            ["pdftoppm", "-r", DOTS_AN_INCH, "-png", "-singlefile", str(pdf), str(PICTURES / name)],
            check=True,
        )
        source.unlink()
        pdf.unlink()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
