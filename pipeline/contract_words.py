"""What a clinic is told: what to send, how, and what never; plain words for pages and workbook."""

from pipeline.contract_workbook import table_guide
from pipeline.intake.mapping import MISSING_REASONS

NEVER = (
    "names of owners, referring or treating persons, or animals",
    "telephone numbers, e-mail and postal addresses",
    "transponder (microchip), tattoo, passport, insurance or invoice numbers",
    "dates of birth: give the age in months on the day of surgery",
    "letters, reports and free-text remarks",
    "pictures with a name or number on them",
)
SEND = (
    "Every operation for patellar luxation in the period that you searched, whatever its result: "
    "a selection would make the answer wrong.",
    "Every recheck, complication and later operation that you know of, and how each animal was "
    "last known to be.",
    "Left and right knee as two rows. The first operation of a knee is its procedure; a later one "
    "is a revision.",
    "Your clinic's own facts: the period searched, the way cases were found, the day the data "
    "were taken out.",
)
WAYS = (
    "Fill in the workbook (template.xlsx): a sheet per table, lists to choose from, and notes on "
    "the headers that say what each column means.",
    "Or fill in the CSV files of the folder templates: comma, UTF-8, dates as 2021-03-02, point "
    "as decimal mark, the codes of the dictionary.",
    "Or send an export of your own system as it comes, with your own columns and codes. The "
    "coordinator describes it once; you change nothing.",
)
HOW = (
    "Leave a cell blank where nothing is known. You may say why instead: "
    + ", ".join(MISSING_REASONS) + ".",
    "Give animals, surgeons and knees codes that mean nothing outside your clinic, and keep the "
    "list of codes yourselves.",
    "Units stand in the dictionary: weight in kg, lengths in mm, age in months, times in days "
    "after the operation of that knee.",
    'Run "sulca mask" on each file before it leaves: it replaces numbers by keyed tokens, shifts '
    "the dates of each animal and leaves out what is not declared.",
    "Send the files by the way that your data agreement names, not as a plain e-mail attachment.",
)  # fmt: skip
TOKEN = (
    "Where the network shares a secret key, an animal that was treated at two clinics is "
    'recognised by link_token: the letter t and the HMAC-SHA-256 of the text "transponder:" and '
    "the 15 digits without spaces, its 64 hexadecimal digits 0 to f written as the letters "
    'bcdfghjklmnpqrst. "sulca mask" makes it. '
    "The key stays with the clinics; the coordinator never holds it."
)
AFTER = (
    "Your files are read as they are and never changed.",
    "You get back a list of questions, each about one cell, with a column for your answer.",
    "At the end you get a page of your own results; no other clinic sees it.",
)


def workbook_guide(title: str) -> list[str]:
    """Give the lines of the first sheet of the workbook."""
    return [
        title, "",
        "Fill in one sheet after the other; hold the pointer over a header to read what it means. "
        "Dark headers must be filled.",
        *table_guide(), "",
        *HOW[:3], "",
        "Never send:", *(f"- {item}" for item in NEVER), "",
        "Do not rename sheets or columns; columns that you cannot fill may be deleted.",
    ]  # fmt: skip
