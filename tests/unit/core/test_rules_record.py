"""What is kept: backups that do not succeed, and a store that was begun anew, as a keeper hears of them."""

from __future__ import annotations

from monitor.core.house import Anew, Began, Host, Kept
from monitor.core.model import DAY, HOUR, MINUTE, Acknowledge, AlarmSettings, AlarmState, Ms, Priority
from tests.unit.core.worlds import T0, Shed, site

OLD = "backup-old:site"
DAMAGED = "record-damaged:site"


class Home(Shed):
    def __init__(self) -> None:
        super().__init__(site(alarms=AlarmSettings(test_day=None), probes={}), T0)
        self.do(Began(self.now))

    def know(self, backups: Kept | None = None, anew: Anew | None = None) -> None:
        self.do(Host(self.now, backups=backups, anew=anew))
        self.wait(MINUTE)

    def told_ids(self) -> list[str]:
        return [move.alarm.id for move in self.told()]

    def words(self, alarm: str) -> str:
        return next(f"{a.title}: {a.text} {a.todo}" for a in self.engine.alarms() if a.id == alarm)


def test_three_days_without_a_good_backup_are_told_once_with_the_reason() -> None:
    """It says of when the newest is, why the last try failed and what to do; a good one ends it."""
    home = Home()
    for days in range(3):
        home.know(Kept(T0, T0 - 90 * DAY, "no room", "/media/stick"))
        assert home.told_ids() == [], days
        home.wait(DAY - MINUTE)
    home.know(Kept(T0, T0 - 90 * DAY, "no room", "/media/stick"))
    assert home.told_ids() == [OLD]
    assert home.moves[-1].alarm.priority is Priority.LOW
    words = home.words(OLD)
    assert "No good backup for 3 days" in words
    assert "The last try failed: no room." in words
    assert "/media/stick" in words
    assert "swimup backup" in words
    home.wait(2 * DAY)
    assert home.told_ids() == [OLD]
    home.know(Kept(home.now, T0 - 90 * DAY))
    assert home.state(OLD) is AlarmState.RETURNED


def test_a_store_that_never_had_a_backup_is_told_after_as_long() -> None:
    """What counts then is since when there is a store."""
    home = Home()
    home.know(Kept(None, T0 - 2 * DAY, "no room"))
    assert home.told_ids() == []
    home.know(Kept(None, T0 - 3 * DAY, "no room"))
    assert "There is no backup yet." in home.words(OLD)


def test_after_a_holiday_the_machine_gets_an_hour() -> None:
    """An old backup alone rings nothing while no try has failed: one is being made."""
    home = Home()
    home.know(Kept(T0 - 20 * DAY, T0 - 90 * DAY))
    home.wait(HOUR // 2)
    assert home.told_ids() == []
    home.wait(HOUR)
    assert home.told_ids() == [OLD]


def test_what_is_not_known_rings_nothing() -> None:
    """A replay, simulated time, and the first minute of a run."""
    home = Home()
    home.know()
    home.wait(5 * DAY)
    assert home.told_ids() == []


def anew(backup: Ms | None = T0 - 9 * HOUR, *, log_taken: bool = True) -> Anew:
    return Anew(T0, "shed.sqlite3.aside-20260202T024000Z", backup, log_taken)


def test_a_damaged_record_is_told_with_the_way_back() -> None:
    """What was found, what still rings, where the damaged file is, and what to type; over when that was done."""
    home = Home()
    home.know(anew=anew())
    assert home.told_ids() == [DAMAGED]
    assert home.moves[-1].alarm.priority is Priority.MEDIUM
    words = home.words(DAMAGED)
    assert "Alarms go on" in words
    assert "shed.sqlite3.aside-20260202T024000Z" in words
    assert "stop the service, then: swimup restore newest" in words
    home.do(Acknowledge(home.now, DAMAGED))
    home.know(anew=anew())
    assert home.told_ids() == [DAMAGED]
    home.know()
    assert home.state(DAMAGED) is AlarmState.NORMAL


def test_where_even_the_log_is_gone_it_is_urgent() -> None:
    """Nothing rings for batches that nobody knows of: that must not wait for the morning."""
    home = Home()
    home.know(anew=anew(None, log_taken=False))
    assert home.moves[-1].alarm.priority is Priority.HIGH
    words = home.words(DAMAGED)
    assert "Nothing is known of batches that were running" in words
    assert "Enter the running batches now. There is no backup to go back to." in words


def test_two_weeks_later_the_new_record_is_the_record() -> None:
    """It ends by itself when a new store knows all that is used of the past."""
    home = Home()
    home.know(anew=anew())
    home.wait(15 * DAY)
    home.know(anew=anew())
    assert home.state(DAMAGED) in (AlarmState.RETURNED, AlarmState.NORMAL)


def test_a_note_comes_back_as_it_was_written() -> None:
    """What is kept in the new store is understood by the next run."""
    assert Anew.from_document(anew().document()) == anew()
