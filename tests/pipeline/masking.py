"""An invented clinic that masks its export, for tests of `sulca mask`."""

import csv
import hashlib
from dataclasses import dataclass
from pathlib import Path

from pipeline.mask import Masked, mask_file
from pipeline.mask_tokens import animal_token

KEY = hashlib.sha256(b"invented for these tests").hexdigest()
SETTINGS = """
clinic_id = "north"
[clinic]
accrual_start = 2020-01-01
accrual_end = 2022-12-31
data_lock_date = 2023-06-30
[dates]
formats = ["DD/MM/YYYY"]
missing = ["ND"]
[[file]]
path = "stifles.csv"
[file.columns]
animal = "Patient"
side = "Limb"
transponder = "Chip"
surgeon = "Vet"
surgery_date = ["Operated"]
birth_date = "Born"
dates = ["Last known"]
drop = ["Owner", "Remark"]
keep = ["Breed", "Weight"]
[[file]]
path = "rechecks.csv"
[file.columns]
animal = "Patient"
side = "Limb"
dates = ["Visit"]
drop = ["Remark"]
keep = ["Patella"]
"""
STIFLES = """Patient,Limb,Chip,Vet,Operated,Born,Last known,Owner,Remark,Breed,Weight
P-1,L,900164000123456,Dr. Brown,15/03/2021,15/03/2019,20/12/2021,Ann Smith,tel 0171 2345678,Pug,7.2
P-1,R,,Dr. Brown,20/06/2021,15/03/2019,ND,Ann Smith,ann@example.org,Pug,7.4
P-2,L,none,Dr. Grey,31/12/2019,01/01/2018,20/12/2020,Bob Jones,,Pug,8
P-2,R,none,Dr. Grey,05/05/2020,01/01/2018,20/12/2020,Bob Jones,,Pug,8.1
P-3,L,900164000999999,Dr. Grey,05/01/2023,01/01/2018,20/12/2020,Cy Fox,,Boxer,30
P-4,L,900 164 000 777 777,Dr. Grey,soon,01/01/2018,20/12/2020,Di Roe,,Boxer,31
,L,900164000888888,Dr. Grey,05/05/2021,01/01/2018,20/12/2020,Ed Poe,,Boxer,32
P-5,L,900164000555555,Dr. Grey,01/01/2020,10/03/2020,01/08/2023,Flo Lee,,=1+1,-9
"""
RECHECKS = """Patient,Limb,Visit,Remark,Patella
P-1,L,26/04/2021,fine,stable
P-1,R,26/07/2021,,stable
P-2,L,11/02/2020,,stable
P-2,R,11/06/2020,,G1
P-3,L,11/02/2023,,stable
P-5,L,11/07/2023,,stable
"""
PLANTED = ("P-1", "P-2", "P-5", "900164000123456", "900164000", "Brown", "Grey", "Smith", "Jones",
           "2345678", "ann@", "fine", "2019-03-15", "15/03", "2021-03-15")  # fmt: skip


@dataclass(frozen=True)
class Clinic:
    """A clinic's folders: the export, what is sent, what stays."""

    export: Path
    send: Path
    own: Path

    def mask(self, name: str = "stifles.csv", *, codes: bool = False) -> Masked:
        return mask_file(
            self.export / name, self.own / "network.key", out=self.send / (name + ".csv"),
            config_path=self.export / "mask.toml", codes=self.own / "codes.csv" if codes else None,
        )  # fmt: skip

    def rows(self, name: str = "stifles.csv") -> list[dict[str, str]]:
        with self.mask(name).out.open(encoding="utf-8", newline="") as handle:
            return list(csv.DictReader(handle))

    def set(self, old: str, new: str, *, name: str = "mask.toml") -> None:
        text = (self.export / name).read_text("utf-8")
        assert old in text
        (self.export / name).write_text(text.replace(old, new), "utf-8")


def clinic_below(folder: Path) -> Clinic:
    """Write the export, the settings and the key of an invented clinic."""
    made = Clinic(folder / "export", folder / "send", folder / "own")
    for folder in (made.export, made.send, made.own):
        folder.mkdir()
    for name, text in {
        "mask.toml": SETTINGS,
        "stifles.csv": STIFLES,
        "rechecks.csv": RECHECKS,
    }.items():
        (made.export / name).write_text(text, "utf-8")
    (made.own / "network.key").write_text(KEY + "\n")
    (made.own / "network.key").chmod(0o600)
    return made


def key() -> bytes:
    return KEY.encode()


def by_animal(rows: list[dict[str, str]], code: str) -> list[dict[str, str]]:
    return [row for row in rows if row["local_animal"] == animal_token(key(), "north", code)]
