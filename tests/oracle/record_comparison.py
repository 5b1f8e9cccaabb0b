"""Differences between the exact judge of furnace records and the program's verdict."""

from fractions import Fraction
from typing import Any

from .record_figures import worst
from .record_oracle import Excursion, Stage, Truth

SAME_S = 1e-6
SAME_C = 1e-6
# The program's codes of each rule's findings; where a rule speaks for each stage, in their order.
CODES = {
    "soak": {"soak.shortest", "soak.never_in"},
    "longest": {"soak.longest"},
    "excursions": {"soak.excursions"},
    "excursions in total": {"soak.excursions_total"},
    "overheating": {"overheating"},
    "heating_rate": {"heating_rate"},
    "cooling_rate": {"cooling_rate"},
    "vacuum": {"vacuum.level", "vacuum.gap"},
    "ageing": {"equivalent_time.shortest", "equivalent_time.longest"},
}
ONE_FINDING_EACH = {"soak", "longest", "excursions"}


def differences(truth: Truth, told: dict[str, Any]) -> list[str]:
    """One line for each figure or outcome that differs; none where both agree."""
    found = []
    for number, (stage, said) in enumerate(zip(truth.stages, told["stages"], strict=True), 1):
        found += [f"stage {number}: {line}" for line in _stage(stage, said)]
    found += _rates(truth.heating, told["heating_rate_c_per_min"])
    found += _equivalent(truth.equivalent, told["equivalent_time_s"])
    found += _vacuum(truth, told["vacuum"])
    found += _outcomes(truth, told["findings"])
    if truth.verdict != told["verdict"] and not truth.unsure:
        found.append(f"verdict {told['verdict']}, exactly {truth.verdict}: {truth.outcomes}")
    return found


def _outcomes(truth: Truth, findings: list[dict[str, Any]]) -> list[str]:
    """Each rule's outcome, and the notes that say something decides nothing."""
    found = []
    for rule, codes in CODES.items():
        exactly = [v for k, v in truth.outcomes.items() if k.rstrip("0123456789 ") == rule]
        said = [f["outcome"] for f in findings if f["code"] in codes]
        if said and rule not in ONE_FINDING_EACH:
            said = [worst(said)]
        if said != exactly and rule not in truth.unsure:
            found.append(f"{rule}: said {said}, exactly {exactly}")
    codes = {f["code"] for f in findings}
    if ("record.ends_in_soak" in codes) != truth.ends_in_soak:
        found.append(f"ends in the soak: exactly {truth.ends_in_soak}")
    burst = "vacuum.burst_suspected" in codes
    if truth.vacuum and (truth.vacuum.burst > burst or burst > truth.vacuum.burst_within):
        found.append(f"bag burst: said {burst}, exactly {truth.vacuum}")
    return found


def _apart(name: str, exactly: Any, said: float | None, within: float = SAME_S) -> list[str]:
    if exactly is None or said is None:
        return [] if exactly is said else [f"{name} {said}, exactly {exactly}"]
    if abs(Fraction(said) - Fraction(exactly)) <= within:
        return []
    return [f"{name} {said!r}, exactly {float(exactly)!r}"]


def _stage(stage: Stage, said: dict[str, Any]) -> list[str]:
    found = _apart("start", stage.start, said["start_s"])
    found += _apart("end", stage.end, said["end_s"])
    if stage.start is None:
        return found
    found += _apart("elapsed", stage.elapsed, said["elapsed_s"])
    found += _apart("in band", stage.in_band, said["in_band_s"])
    found += _apart("unproven", stage.unproven, said["unproven_s"])
    found += _apart("spread", stage.spread, said["spread_c"], SAME_C)
    exactly, told = stage.excursions, said["excursions"]
    if len(exactly) != len(told):
        spans = [(float(e.start), float(e.end)) for e in exactly]
        return [*found, f"{len(told)} excursions {told}, exactly {spans}"]
    for one, other in zip(exactly, told, strict=True):
        found += _excursion(one, other)
    return found


def _excursion(exactly: Excursion, said: dict[str, Any]) -> list[str]:
    found = _apart("excursion from", exactly.start, said["from_s"])
    found += _apart("excursion to", exactly.end, said["to_s"])
    found += _apart("beyond", exactly.beyond, said["beyond_c"], SAME_C)
    if said["side"] not in exactly.sides:
        found.append(f"side {said['side']}, exactly {exactly.sides}")
    if set(said["sensors"]) != exactly.sensors:
        found.append(f"sensors {said['sensors']}, exactly {sorted(exactly.sensors)}")
    return found


def _rates(exactly: dict | None, said: dict | None) -> list[str]:
    if exactly is None:
        return []
    found = []
    for name, rate in exactly.items():
        found += _apart(f"heating rate of {name}", rate, (said or {}).get(name), SAME_C)
    return found


def _equivalent(exactly: dict | None, said: dict | None) -> list[str]:
    if exactly is None:
        return []
    found = []
    for name, (whole, parts) in exactly.items():
        within = 1e-6 * max(whole, parts) + 2 * abs(whole - parts) + 1e-12
        found += _apart(f"equivalent time of {name}", whole, (said or {}).get(name), within)
    return found


def _vacuum(truth: Truth, said: dict | None) -> list[str]:
    if truth.vacuum is None:
        return []
    if said is None:
        return ["vacuum figures missing"]
    found = _apart("lowest vacuum", truth.vacuum.lowest, said["lowest_kpa"])
    found += _apart("time below", truth.vacuum.below_limit, said["below_limit_s"])
    loss = truth.vacuum.fastest_loss
    return found + _apart("fastest loss", loss, said["fastest_loss_kpa_per_min"])
