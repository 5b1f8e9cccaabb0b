"""A coupon's file as it stood at a time, made of the file as it stands now. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal

from app.bench.rules.coupon_file import CouponFile, ReadingFile


@dataclass(frozen=True, slots=True)
class MaterialThen:
    """What a coupon was made of on record until its lot was corrected, not at that time any more.

    Thickness and surface are None where the coupon has its own, which no correction changes.
    """

    until: datetime
    alloy: str
    form: str
    thickness_mm: str | None
    surface: str | None


@dataclass(frozen=True, slots=True)
class Since:
    """When things happened to readings and retests, and to coupons' lots, by their keys.

    ``corrected`` holds what a coupon was before each correction of its lot, the earliest first.
    """

    voided: Mapping[int, datetime]
    replaced: Mapping[int, datetime]
    opened: Mapping[int, datetime]
    corrected: Mapping[int, Sequence[MaterialThen]] = field(default_factory=dict)


def files_as_they_stood(
    files: Mapping[int, CouponFile], since: Since, at: datetime
) -> dict[int, CouponFile]:
    """The files without what was read, checked, voided, corrected or opened after ``at``.

    What was recorded at that very time is in. Which papers were accepted by then is not settled.
    """
    then = {key: _stood(file, since, at) for key, file in files.items()}
    return {key: _with_its_retest(file, then, since, at) for key, file in then.items()}


def _stood(file: CouponFile, since: Since, at: datetime) -> CouponFile:
    readings = tuple(
        _reading(one, since, at)
        for one in file.readings
        if one.entered_at is None or one.entered_at <= at
    )
    sessions = {
        key: replace(bench, checks=tuple(check for check in bench.checks if check.at <= at))
        for key, bench in file.sessions.items()
    }
    baselines = tuple(one for one in file.baselines if one.taken_at <= at)
    stood = replace(file, readings=readings, sessions=sessions, baselines=baselines)
    return of_its_material_then(stood, since.corrected.get(file.id, ()), at)


def of_its_material_then(
    file: CouponFile, corrected: Sequence[MaterialThen], at: datetime
) -> CouponFile:
    """The file with the material that was on record at ``at``."""
    for one in reversed(corrected):
        if one.until > at:
            file = replace(
                file,
                alloy=one.alloy,
                form=one.form,
                thickness_mm=file.thickness_mm
                if one.thickness_mm is None
                else Decimal(one.thickness_mm),
                surface=file.surface if one.surface is None else one.surface,
            )
    return file


def _reading(one: ReadingFile, since: Since, at: datetime) -> ReadingFile:
    voided = one.voided if one.id in since.voided and since.voided[one.id] <= at else None
    replaced = one.id in since.replaced and since.replaced[one.id] <= at
    return replace(one, voided=voided, replaced=replaced)


def _with_its_retest(
    file: CouponFile, files: Mapping[int, CouponFile], since: Since, at: datetime
) -> CouponFile:
    """The file with its retest where it was open by then, and the coupons that served it then."""
    retest = file.retest
    if retest is None:
        return file
    if since.opened[retest.id] > at:
        return replace(file, retest=None)
    serving = tuple(
        key
        for key in retest.coupons
        # Of a coupon that only serves here, its own retest's others are not asked for.
        if key in files and any(one.retest_id == retest.id for one in files[key].readings)
    )
    return replace(file, retest=replace(retest, coupons=serving))
