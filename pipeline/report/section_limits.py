"""The limits of the study, each with its number."""

from collections.abc import Sequence

from markupsafe import Markup

from pipeline.report.baseline_table import ALL, baseline_differences
from pipeline.report.blocks import Section, heading, paragraph
from pipeline.report.counts import count_id
from pipeline.report.labels import small
from pipeline.report.material import Material
from pipeline.report.rows import distinct, number, of
from pipeline.report.section_arms import exposures_of
from pipeline.report.section_screening import screening_part
from pipeline.report.text import count_of, estimate_and_interval, fixed, whole
from shared.estimate import Estimate


def limits_section(material: Material) -> Section:
    """Say each limit with the number that shows its size."""
    parts = (
        ("Only what was looked for was found", _selection(material)),
        *_dating(material),
        ("Technique was chosen for a reason", _indication(material)),
        ("Technique was chosen by a hand", _hands(material)),
        ("What was written down is not what was", _measurement(material)),
        ("Some outcomes wait for an answer", _held(material)),
        *screening_part(material),
    )
    blocks: list[Markup] = [
        paragraph(
            "What a reader should hold against these results. No method removes these limits; the "
            "numbers say how large each may be here."
        )
    ]
    for title, sentences in parts:
        blocks += [heading(title), *(paragraph(sentence) for sentence in sentences)]
    return Section("limits", "Limits, each with its number", "Limits", tuple(blocks))


def _selection(material: Material) -> list[Markup]:
    rows = of(material.rows, "proportion", analysis="rechecks")
    whole_study = [row for row in rows if row.group == ALL and row.estimate is not None]
    sentences = [
        Markup(
            "Stifles that came back may differ from those that did not: well ones stay away, and "
            "troubled ones are seen elsewhere."
        )
    ]
    if whole_study:
        last = max(whole_study, key=lambda row: row.day or 0)
        sentences.append(
            Markup(
                "Of 100 stifles operated long enough ago, {} had an adequate recheck in the last "
                "time frame, which ends on day {}."
            ).format(number(estimate_and_interval(last), last.row_id), whole(last.day or 0))
        )
        clinics = [row for row in rows if row.group != ALL and row.day == last.day
                   and row.estimate is not None]  # fmt: skip
        if clinics:
            low, high = (pick(clinics, key=_size) for pick in (min, max))
            sentences.append(
                Markup("Between clinics this went from {} to {} of 100.").format(
                    number(fixed(100 * _size(low), 0), low.row_id),
                    number(fixed(100 * _size(high), 0), high.row_id),
                )
            )
    return sentences


def _dating(material: Material) -> tuple[tuple[str, list[Markup]], ...]:
    """Say what the risks by the day of finding rest on, and what the other dating gives."""
    planned = [item for item in material.analyses if item.model == "interval_censored"]
    carried = [item for item in material.analyses if item.seen_within_days]
    if not planned and not carried:
        return ()
    sentences = [
        Markup(
            "An event is dated by the visit that found it. Stifles seen stable for the last time "
            "on a planned day leave on it while others still wait for theirs: risks by the day of "
            "finding then come out too high, most of all at the end of a round of visits."
        )
    ]
    for analysis in planned:
        rows = [row for row in of(material.rows, "risk", analysis=analysis.id)
                if row.day == max(analysis.horizon, default=None)
                and (row.group or "").startswith("turnbull")]  # fmt: skip
        sentences += [
            Markup("Between visits, {}: {} of 100 by day {}.").format(
                small(material.labels.arm(analysis.exposure or "", row.level or "")),
                number(estimate_and_interval(row), row.row_id), whole(row.day or 0),
            )
            for row in rows
        ]  # fmt: skip
    sentences += [
        Markup(
            "With stifles seen free within {} days before day {} counted as followed to it, {}: "
            "{} of 100."
        ).format(
            whole(analysis.seen_within_days), whole(row.day or 0),
            small(material.labels.arm(analysis.exposure or "", row.group or "")),
            number(estimate_and_interval(row), row.row_id),
        )
        for analysis in carried
        for row in of(material.rows, "risk", analysis=analysis.id)
        if row.adjustment == "crude" and row.state == analysis.outcome_name
    ]  # fmt: skip
    return (("Found on a day, begun on another", sentences),)


def _indication(material: Material) -> list[Markup]:
    sentences = [
        Markup(
            "Surgeons pick a technique for the stifle in front of them. What they saw and did not "
            "write down cannot be adjusted for."
        )
    ]
    for exposure in exposures_of(material):
        named = baseline_differences(material.rows, exposure, material.labels)
        if named:
            name, row = max(named, key=lambda item: abs(item[1].estimate or 0.0))
            sentences.append(
                Markup(
                    "{}: before surgery the arms differed most in {}, by a standardised difference "
                    "of {}."
                ).format(
                    material.labels.name(exposure), small(name),
                    number(fixed(abs(row.estimate or 0.0), 2), row.row_id),
                )
            )  # fmt: skip
    return sentences


def _hands(material: Material) -> list[Markup]:
    sentences: list[Markup] = []
    for exposure in exposures_of(material):
        said = [
            _alone(of(material.rows, "count", analysis=f"overlap_{kind}{exposure}"), words)
            for kind, words in (("", "clinics"), ("surgeon_", "surgeons"))
        ]
        if any(said):
            text = Markup(" and ").join(part for part in said if part)
            name = material.labels.name(exposure)
            sentences.append(Markup("{}: {} used one technique only.").format(name, text))
    return sentences or [Markup("No technique is compared between hands.")]


def _alone(rows: Sequence[Estimate], words: str) -> Markup | None:
    hands = distinct(row.group for row in rows)
    alone = distinct(row.group for row in rows if "no_overlap" in row.concerns)
    if not hands:
        return None
    first = rows[0].row_id
    return Markup("{} of {} {}").format(
        number(whole(len(alone)), first), number(whole(len(hands)), first), words
    )


def _measurement(material: Material) -> list[Markup]:
    sentences = [
        Markup(
            "Grades, lameness and reasons are judgements of many veterinarians, not blinded to "
            "technique, and a reluxation is dated when it is found, not when it happens."
        )
    ]
    planned = {column for item in material.analyses for column in item.terms}
    gaps = [row for row in of(material.rows, "proportion", analysis="missing")
            if row.group == ALL and row.term in planned and row.estimate is not None]  # fmt: skip
    if gaps:
        worst = max(gaps, key=_size)
        sentences.append(
            Markup("Of what the plan uses, {} is missing most often: in {} of 100.").format(
                small(material.labels.name(worst.term or "")),
                number(fixed(100 * _size(worst), 0), worst.row_id),
            )
        )
    findings = material.counts.findings
    if len(findings):
        total = number(whole(int(findings["n"].sum())), count_id("findings", ALL))
        sentences.append(Markup("The checks raised {} questions or corrections.").format(total))
    return sentences


def _held(material: Material) -> list[Markup]:
    rows = [row for row in of(material.rows, "count", analysis="held") if row.group == ALL]
    if not rows:
        return [Markup("No outcome is held back.")]
    return [
        Markup("{}: {} of {} stifles are held back until their clinic answers.").format(
            material.labels.name(f"{row.outcome}_held").removesuffix(" held"),
            number(count_of(row), row.row_id),
            number(whole(row.n or 0), row.row_id),
        )
        for row in rows
    ] + [Markup("What they could change stands under “Stifles that wait for an answer”.")]


def _size(row: Estimate) -> float:
    return row.estimate or 0.0
