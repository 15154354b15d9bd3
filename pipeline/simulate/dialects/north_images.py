"""North's fourth file: what two readers measured on the images, a row per reading."""

import zlib

from pipeline.simulate.casebook import Case
from pipeline.simulate.grid import Grid, decimal
from pipeline.simulate.placement import readings

IMAGES = (
    "Patient No", "Limb", "Image No", "Image date", "Reader", "Reading", "Blind", "Scale",
    "Osteotomy depth (mm)", "Tibial depth (mm)",
)  # fmt: skip


def images(cases: list[Case]) -> Grid:
    """Fill the file; readers are blind to the outcome, and every image has a scale."""
    grid = Grid(file="images.csv", header=IMAGES)
    for case in cases:
        limb = str(case.facts["side"])[0].upper()
        for reading in readings(case):
            grid.add(case, {
                "Patient No": case.animal,
                "Limb": limb,
                "Image No": _image_no(case),
                "Image date": case.operated.strftime("%d/%m/%Y"),
                "Reader": reading["rater_id"],
                "Reading": str(reading["read_no"]),
                "Blind": "Y",
                "Scale": "Y",
                "Osteotomy depth (mm)": decimal(reading["osteotomy_depth_mm"]),
                "Tibial depth (mm)": decimal(reading["tibial_depth_mm"]),
            })  # fmt: skip
    return grid


def _image_no(case: Case) -> str:
    """Name the image by a number of its own that tells nothing of the patient's."""
    return f"X{zlib.crc32(str(case.facts['local_stifle']).encode()) % 10**7:07d}"
