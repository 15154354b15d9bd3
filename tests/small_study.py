"""Two clinics of the demo and two of its analyses: quick to run again and again."""

import shutil
from collections.abc import Iterable
from importlib.resources import files
from pathlib import Path

CLINICS = ("north", "valley")
KEPT = ("relux_risk", "relux_hazard")


def small_study(folder: Path, clinics: Iterable[str] = CLINICS) -> Path:
    """Write the study below `folder`, which must be new."""
    demo = Path(str(files("shared") / "demo"))
    head, *blocks = (demo / "study.toml").read_text("utf-8").split("[[analysis]]")
    kept = [block for block in blocks if any(f'id = "{name}"' in block for name in KEPT)]
    for clinic in clinics:
        shutil.copytree(demo / "exports" / clinic, folder / "exports" / clinic)
        (folder / "mappings").mkdir(exist_ok=True)
        shutil.copy(demo / "mappings" / f"{clinic}.toml", folder / "mappings")
    (folder / "study.toml").write_text("[[analysis]]".join([head, *kept]), encoding="utf-8")
    return folder
