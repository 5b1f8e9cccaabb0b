"""A coupon's file as it stood at a time, made of the file as it stands now. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from app.bench.rules.coupon_file import CouponFile, ReadingFile


@dataclass(frozen=True, slots=True)
class Since:
    """When things happened to readings and retests, by their keys."""

    voided: Mapping[int, datetime]
    replaced: Mapping[int, datetime]
    opened: Mapping[int, datetime]


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
    return replace(file, readings=readings, sessions=sessions, baselines=baselines)


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
