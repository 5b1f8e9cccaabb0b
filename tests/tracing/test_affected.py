"""The loads that a failed check of a furnace may touch."""

from datetime import date, timedelta

from app.database import Database
from app.equipment.records import FurnaceCheckKind
from tests.makers import NOW, Shop
from tests.visits import Visit, words


def test_the_loads_between_the_last_good_check_and_the_failed_one_are_listed(
    database: Database, visit: Visit
) -> None:
    """The maker's survey of 1 February is the last good one; the next, of 4 March, failed."""
    shop = Shop(database)
    days = {
        "before": date(2026, 1, 31),
        "of the good one": date(2026, 2, 1),
        "between": date(2026, 2, 14),
        "of the failure": date(2026, 3, 4),
        "after": date(2026, 3, 5),
    }
    codes = {}
    for name, day in days.items():
        load, panel, *_ = shop.panel_in_load(start=NOW.replace(month=day.month, day=day.day))
        codes[name] = (load.code, panel.code)
    with database.write() as session:
        check = shop.furnace_check(
            session,
            shop.furnace_id,
            FurnaceCheckKind.UNIFORMITY_SURVEY,
            done_on=date(2026, 3, 4),
            due_on=date(2026, 3, 4) + timedelta(days=1),
            passed=False,
            report="R-COLD",
        )
        address = f"/furnaces/FN-1/checks/{check.id}"
        impact = f"/furnace-checks/{check.id}/loads"
    visit.sign_in("olek")
    assert f'href="{impact}"' in visit.get(address).text
    page = visit.get(impact).text
    said = words(page)
    assert "The last good one before it was made 2026-02-01" in said
    assert "3 loads , 0 of their panels released already" in said
    for name, (load_code, panel_code) in codes.items():
        listed = name not in {"before", "after"}
        assert (f'href="/loads/{load_code}"' in page) is listed, name
        assert (f'href="/panels/{panel_code}"' in page) is listed, name


def test_a_check_that_is_not_there_touches_nothing(database: Database, visit: Visit) -> None:
    Shop(database)
    visit.sign_in("olek")
    assert visit.get("/furnace-checks/999/loads").status_code == 404
