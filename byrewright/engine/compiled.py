"""Compile a plant, or read it from the cache of this version of the code."""

from __future__ import annotations

import hashlib
import json
import os
import zlib
from collections.abc import Callable
from dataclasses import asdict
from io import BytesIO
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np

from byrewright import __version__
from byrewright.caches import cache_folder, keep
from byrewright.engine import shape as sh
from byrewright.engine.ahead import begin
from byrewright.engine.jit import SOURCES, code_hash
from byrewright.engine.names import Compiled, Names
from byrewright.engine.operating_map import OperatingMap
from byrewright.engine.rows import DoesNotCompile
from byrewright.plant.plant import FORMAT, Plant
from byrewright.standards.rulebook import Rulebook, default_rulebook


def plant_key(plant: Plant, rules: Rulebook, step_s: float | None, samples: float,
              network: bool = False) -> str:  # fmt: skip
    """A hash of the plant, the rules, the format and the code."""
    digest = hashlib.sha256()
    code = f"{FORMAT} {__version__} {code_hash(SOURCES)}"
    digest.update(f"{code} {step_s} {samples} {network} {hash(rules)}".encode())
    data = plant.model_dump(mode="json", by_alias=True)
    data["equipment"] = {
        tag: {"kind": m.kind, "class": repr(m.lower()), **m.model_dump(mode="json")}
        for tag, m in plant.equipment.items()
    }
    digest.update(json.dumps(data, sort_keys=True).encode())
    return digest.hexdigest()[:32]


def compile_plant(
    plant: Plant,
    rules: Rulebook | None = None,
    *,
    step_s: float | None = None,
    sample_s: float = 60.0,
    vacuum: Callable[[], OperatingMap | None] | None = None,
    cache: bool = True,
) -> Compiled:
    """Compile a plant, or read it from the cache of this version.

    Args:
        step_s: the step; the longest of 1, 0.5, 0.2 and 0.1 s that fits when None.
        sample_s: time between readings of the series.
        vacuum: gives the operating map by the network solver, or None where it has none; asked
            only when the plant is not in the cache. A capacity balance is used without it.

    Raises:
        DoesNotCompile: a plant the engine refuses; the sentence names the part.
    """
    begin()
    rules = rules or default_rulebook()
    key = plant_key(plant, rules, step_s, sample_s, vacuum is not None)
    path = cache_folder("plants") / f"{key}.npz" if cache else None
    if path is not None and path.exists():
        found = _load(path)
        if found is not None:
            return found
    from byrewright.engine.maker import Maker

    compiled = Maker(plant, rules, sample_s, vacuum() if vacuum else None).make(step_s)
    compiled.key = key
    if path is not None:
        _store(path, compiled)
    return compiled


def with_wrong(plant: Plant, compiled: Compiled, wrong: list[dict[str, str]],
               rules: Rulebook | None = None, sample_s: float = 60.0) -> Compiled:  # fmt: skip
    """The same plant with more variants of valve positions (variant 0 has none wrong).

    A row with field `ROW_ROUTE` and value i puts variant i in force.
    """
    from byrewright.engine.maker import Maker

    rules = rules or default_rulebook()
    asked = f"{plant_key(plant, rules, compiled.step_s, sample_s)} {json.dumps(wrong)}"
    key = hashlib.sha256(asked.encode()).hexdigest()[:32]
    path = cache_folder("variants") / f"{key}.npz"
    if path.exists() and (found := _load(path)) is not None:
        return found
    maker = Maker(plant, rules, sample_s, None)
    maker.wrong = wrong
    fresh = maker.make(compiled.step_s)
    fresh.variants = [{}, *wrong]
    keep(path, _packed(fresh, np.savez_compressed), VARIANTS_KEPT)
    return fresh


VARIANTS_KEPT = 50
"""Plants with their variants that are kept on disk; packed, for most of them is the same again."""


def _packed(compiled: Compiled, save: Callable[..., None]) -> bytes:
    arrays: dict[str, Any] = {f"T_{k}": v for k, v in compiled.tables._asdict().items()}
    arrays |= {f"S_{k}": v for k, v in compiled.start._asdict().items()}
    plain = {
        k: getattr(compiled, k)
        for k in ("step_s", "milkings", "cows", "origin_s", "removal", "pace_s", "litres", "kg_l",
                  "notes", "vacuum_known", "withheld_apart", "variants", "milk_kg_l", "key")
    }  # fmt: skip
    plain["names"] = asdict(compiled.names)
    buffer = BytesIO()
    save(buffer, plain=np.frombuffer(json.dumps(plain).encode(), np.uint8), **arrays)
    return buffer.getvalue()


def _store(path: Path, compiled: Compiled) -> None:
    """Write to a temporary file, then rename: a half-written plant is never read."""
    part = path.with_suffix(f".{os.getpid()}.tmp")
    try:
        part.write_bytes(_packed(compiled, np.savez))
        os.replace(part, path)
    except OSError:
        part.unlink(missing_ok=True)


def _load(path: Path) -> Compiled | None:
    """A compiled plant from the cache, or None when the file cannot be read."""
    try:
        with np.load(BytesIO(path.read_bytes()), allow_pickle=False) as found:
            plain = json.loads(bytes(found["plain"]).decode())
            tables = sh.Tables(*(found[f"T_{k}"] for k in sh.Tables._fields))
            start = sh.State(*(found[f"S_{k}"] for k in sh.State._fields))
    except (OSError, ValueError, KeyError, EOFError, BadZipFile, zlib.error):
        return None
    names = Names(**plain.pop("names"))
    plain["removal"] = tuple(plain["removal"])
    return Compiled(tables, start, names, **plain)


__all__ = ["Compiled", "DoesNotCompile", "Names", "compile_plant", "with_wrong"]
