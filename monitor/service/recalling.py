"""Coming back after a restart: what the store kept goes back into the engine, in the order in which it is needed."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from monitor.core.house import HOUSE_KEYS
from monitor.core.log import Start
from monitor.core.model import HISTORY, AlarmState
from monitor.core.phones import PHONES_KEY
from monitor.core.planned import FOOD_KEYS
from monitor.core.undo import UNDO_KEY
from monitor.loglines import log

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.engine import Engine
    from monitor.core.model import Ms
    from monitor.store import Store
    from monitor.store.history import Columns


def recall(store: Store, engine: Engine, now: Ms, columns: Columns | None = None) -> None:
    """Rebuild the state of a new engine: slots, the readings behind them, the log, the alarms.

    ``columns``: the slots, where they have been read ahead.
    """
    for probe, told in store.past(now - HISTORY, columns):
        engine.recall_past(probe, told)
    for reading in store.readings(engine.reading_recall_from()):
        engine.recall_reading(reading)
    entries = store.entries()
    _learned(store, engine, (f"lot/{lot}" for lot in sorted({one.lot for one in entries if isinstance(one, Start)})))
    _learned(store, engine, (f"vessel/{vessel}" for vessel in engine.state.vessels))
    _learned(store, engine, [UNDO_KEY])
    engine.recall_log(entries)
    for batch in engine.batches_believed():
        _learned(store, engine, [f"prior/{batch}", f"expected/{batch}"])
    _learned(store, engine, [*HOUSE_KEYS, *FOOD_KEYS, PHONES_KEY])
    for alarm in store.alarms():
        engine.recall_alarm(alarm, told=alarm.state is not AlarmState.SUPPRESSED)
    for transition in store.transitions(now - HISTORY):
        engine.recall_transition(transition)
    log.info("state.recalled", batches=len(engine.open_batches()), alarms=len(engine.alarms()))


def _learned(store: Store, engine: Engine, keys: Iterable[str]) -> None:
    for key in keys:
        kept = store.kept(key)
        if kept is None:
            continue
        try:
            engine.recall_learned(key, json.loads(kept))
        except (ValueError, LookupError, TypeError) as error:  # better without it than not at all
            log.warning("learned.forgotten", key=key, reason=f"{type(error).__name__}: {error}")
