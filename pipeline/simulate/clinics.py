"""The five invented clinics: who comes, who operates, house style, and who comes back."""

from dataclasses import dataclass
from datetime import date

EPOCH = date(2015, 1, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clinic:
    """One clinic; log odds and log hazards are relative to the network's middle.

    `block`, `band` and `two_wires` are the log odds of each surgeon for block over wedge
    recession, for a tension band, and for two K-wires over one. `stay` is the log odds of
    coming back to each planned recheck, once the animal came to the one before.
    """

    clinic_id: str
    kind: str
    country_code: str
    first_day: date
    last_day: date
    lock: date
    case_finding: str
    n_screened: int
    share: float
    heavy: float
    cats: float
    surgeons: tuple[str, ...]
    levels: tuple[str, ...]
    block: tuple[float, ...]
    band: tuple[float, ...]
    two_wires: tuple[float, ...]
    reluxation: float
    implant: float
    stay: tuple[float, float, float, float]
    no_three_month_visit: bool = False
    weekly: bool = False
    in_inches: bool = False
    contacts_on_form: int = 99


CLINICS: tuple[Clinic, ...] = (
    Clinic(
        clinic_id="north", kind="university", country_code="GB",
        first_day=date(2015, 1, 5), last_day=date(2024, 6, 28), lock=date(2025, 3, 31),
        case_finding="procedure_code_search", n_screened=312, share=0.27, heavy=0.5, cats=0.09,
        surgeons=("NS1", "NS2", "NS3", "NS4"),
        levels=("specialist", "specialist", "resident_supervised", "resident_supervised"),
        block=(1.3, 0.2, -0.6, 0.8), band=(0.5, -0.4, 0.2, -0.9), two_wires=(1.2, 0.6, 0.4, 1.0),
        reluxation=0.0, implant=0.1, stay=(3.3, 2.0, 1.6, 1.2),
    ),
    Clinic(
        clinic_id="valley", kind="referral", country_code="DE",
        first_day=date(2015, 3, 2), last_day=date(2024, 5, 31), lock=date(2025, 2, 28),
        case_finding="theatre_log", n_screened=241, share=0.22, heavy=0.2, cats=0.06,
        surgeons=("VOP1", "VOP2", "VOP3"),
        levels=("specialist", "specialist", "experienced_general"),
        block=(-0.7, 0.6, -0.2), band=(1.0, -0.3, 0.1), two_wires=(0.8, 0.2, 0.6),
        reluxation=-0.15, implant=0.0, stay=(3.2, 2.2, 1.8, 1.4),
        weekly=True, contacts_on_form=8,
    ),
    Clinic(
        clinic_id="lake", kind="mixed", country_code="FR",
        first_day=date(2015, 1, 5), last_day=date(2024, 6, 28), lock=date(2025, 1, 31),
        case_finding="diagnosis_search", n_screened=205, share=0.19, heavy=-0.2, cats=0.07,
        surgeons=("LC1", "LC2", "LC3"), levels=("experienced_general", "general", "specialist"),
        block=(0.1, -1.0, 0.7), band=(-0.6, -1.0, 0.4), two_wires=(0.3, -0.2, 0.9),
        reluxation=0.2, implant=0.15, stay=(3.1, 1.6, 1.2, 0.8),
    ),
    Clinic(
        clinic_id="harbour", kind="referral", country_code="US",
        first_day=date(2016, 1, 4), last_day=date(2024, 6, 28), lock=date(2025, 3, 14),
        case_finding="procedure_code_search", n_screened=190, share=0.17, heavy=0.4, cats=0.04,
        surgeons=("HS1", "HS2"), levels=("specialist", "specialist"),
        block=(0.9, -0.4), band=(0.7, -0.2), two_wires=(1.0, 0.5),
        reluxation=-0.1, implant=-0.1, stay=(3.4, 2.4, 1.7, 1.3),
        no_three_month_visit=True, in_inches=True, contacts_on_form=6,
    ),
    Clinic(
        clinic_id="plateau", kind="first_opinion", country_code="ES",
        first_day=date(2016, 1, 4), last_day=date(2024, 5, 31), lock=date(2024, 12, 20),
        case_finding="free_text_search", n_screened=176, share=0.15, heavy=-0.5, cats=0.08,
        surgeons=("PC1", "PC2", "PC3"), levels=("experienced_general", "general", "general"),
        block=(-1.1, 0.3, -0.5), band=(-0.2, -1.1, 0.5), two_wires=(-0.1, 0.4, 0.2),
        reluxation=0.25, implant=0.1, stay=(3.0, 1.4, 1.1, 0.9),
    ),
)  # fmt: skip
CLINIC_IDS = tuple(clinic.clinic_id for clinic in CLINICS)


def day_number(day: date) -> int:
    """Count days from the epoch of the simulation."""
    return (day - EPOCH).days
