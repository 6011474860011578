"""One batch for replay: what its probes told, what was logged of it, and as much of the configuration as that needs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from pydantic import SecretStr

from monitor.archive.documents import LOG, TOLD, TRANSITIONS
from monitor.archive.files import ArchiveProblem, Progress, Sink, new_folder, quiet
from monitor.archive.forms import instant, thousandths
from monitor.archive.manifest import LEFT_OUT, Chosen, FileNote, Manifest
from monitor.archive.out import csv_writer, json_line, write_manifest
from monitor.archive.source import Source
from monitor.archive.tables import READINGS
from monitor.core.history import KEEP_SLOTS
from monitor.core.log import Chill, Discard, Emptied, Harvest, Lapse, Settle, Start, Undo, Work, key_of
from monitor.core.log_food import FOOD_ENTRIES, Correct
from monitor.core.model import DAY, SLOT, Air, Measures, Quality
from monitor.core.undo import without_undone
from monitor.intake.recorded import COLUMNS
from monitor.intake.values import internal
from monitor.settings.base import form_of
from monitor.settings.probes import Probe
from monitor.store.records import LARGEST, alarm_from_record, entry_from_record, series_of, time_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from monitor.archive.documents import Lines
    from monitor.archive.tables import Row
    from monitor.core.log import Deed
    from monitor.core.model import Ms
    from monitor.intake.binding import Binding
    from monitor.settings.base import Section
    from monitor.settings.settings import Settings

LOOKS_BACK: Final[Ms] = KEEP_SLOTS * SLOT
"""So much of what was before its start can bear on a forecast: the days of the room, the habits of the heater."""
_TELL_EACH: Final = 2_000
_NAMED: Final = 5
_PLACES: Final = range(3, 12)
"""Decimals that are tried until a value in the configured unit means the very thousandths that are stored."""


class Slice:
    """Which rows of a store are about one batch. Raises ArchiveProblem for a batch or vessel that is not known."""

    def __init__(self, source: Source, settings: Settings, batch: str) -> None:
        rows = source.connection.execute("SELECT time, logged, kind, fields FROM event ORDER BY logged, id").fetchall()
        entries = [entry_from_record(*row) for row in rows]
        standing = without_undone(entries)
        starts = [entry for entry in standing if isinstance(entry, Start)]
        begun = next((start for start in reversed(starts) if start.batch == batch), None)
        if begun is None:
            newest = ", ".join(start.batch for start in starts[-_NAMED:]) or "none"
            raise ArchiveProblem(f"there is no batch {batch[:60]!r} in the log; the newest are {newest}.")
        if begun.vessel not in {vessel.id for vessel in settings.vessels}:
            raise ArchiveProblem(
                f"batch {batch} stood in {begun.vessel}, which is not in the configuration any more: replay would not know "
                "what its probes mean. Put the vessel and its probes back, or export everything."
            )
        self.start = begun
        self.since = begun.time - LOOKS_BACK
        self.until = self._end(standing)
        # With what was undone: replay says what was said then.
        mine = {
            key_of(entry)
            for entry in entries
            if not isinstance(entry, (Undo, Correct, *FOOD_ENTRIES)) and self._about(entry)
        }
        mine |= {key_of(one) for one in entries if isinstance(one, Correct) and (one.kind, one.subject, one.at) in mine}
        keys = [
            (entry.kind, entry.subject, entry.at) if isinstance(entry, Undo) else key_of(entry) for entry in entries
        ]
        self.log = [row for row, key in zip(rows, keys, strict=True) if key in mine]
        self.probes = [
            probe for probe in settings.probes if probe.vessel == begun.vessel or probe.measures is Measures.ROOM
        ]

    def _end(self, entries: list[Deed]) -> Ms:
        """Just after its last word; far away while it is open."""
        ends = [
            max(entry.time, entry.logged)
            for entry in entries
            if isinstance(entry, Harvest | Discard | Lapse) and entry.batch == self.start.batch
        ]
        return max(ends) + 1 if ends else LARGEST

    def _about(self, entry: Deed) -> bool:
        if isinstance(entry, Settle | Work):
            known = max(entry.time, entry.logged)
            return entry.vessel == self.start.vessel and self.start.time <= known < self.until
        return not isinstance(entry, Chill | Emptied) and entry.batch == self.start.batch


def write_batch(path: Path, folder: Path, settings: Settings, batch: str, progress: Progress = quiet) -> Manifest:
    """Write what replay needs of a batch into a new folder: readings.csv, log.jsonl and a swimup.toml that knows its probes.

    What earlier batches have taught of its tin is not in it. Raises StoreError, ArchiveProblem.
    """
    with Source(path) as source:
        about = Slice(source, settings, batch)
        with new_folder(folder) as part:
            notes = [
                _readings(source, about, part, progress),
                _lines(part, LOG, about.log, source),
                _lines(part, TOLD, _told(source, batch), source),
                _lines(part, TRANSITIONS, _transitions(source, about), source),
                _configuration(part, settings, about),
            ]
            (begun,) = source.connection.execute("SELECT min(applied) FROM migration").fetchone()
            until = None if about.until == LARGEST else instant(about.until)
            manifest = Manifest(
                store_schema=source.schema,
                complete=False,
                form="csv",
                begun=instant(begun),
                probes=[probe.id for probe in about.probes],
                cleared_before={},
                part_of=Chosen(since=instant(about.since), until=until, batch=batch),
                left_out=LEFT_OUT,
                files=sorted(notes, key=lambda note: note.name),
            )
            write_manifest(part, manifest)
        return manifest


def _readings(source: Source, about: Slice, folder: Path, progress: Progress) -> FileNote:
    """In the unit that is configured, since that is how replay reads them; what the broker had kept has no time to go by."""
    bindings = {probe.id: probe.binding() for probe in about.probes}
    known = [probe for probe in bindings if probe in source.names.numbers]
    with Sink(folder, "readings.csv") as sink:
        writer = csv_writer(sink)
        writer.writerow(COLUMNS)
        where = source.where(READINGS.time, about.since, about.until, source.series(known))
        rows = source.connection.execute(READINGS.select.format(where=where)) if known else ()
        for at, milli, mark, _late, _seq in rows:
            if Quality(mark & 7) in (Quality.LAST_KNOWN, Quality.QUEUED):
                continue
            probe = source.names.probes[series_of(at)]
            time = time_of(at)
            writer.writerow((instant(time), probe, _told_value(milli, mark >> 4 & 3, bindings[probe])))
            sink.rows += 1
            if sink.rows % _TELL_EACH == 0:
                progress(time - about.since, min(about.until, time + DAY) - about.since)
    return sink.note


def _told_value(milli: int, state: int, binding: Binding) -> str:
    if binding.is_word:
        return _word(Air(state - 1) if state else Air.STOPPED, binding)
    if binding.scale == 1.0 and binding.offset == 0.0:
        return thousandths(milli)
    there = (milli / 1000 - binding.offset) / binding.scale
    exact = (f"{there:.{places}f}" for places in _PLACES)
    return next((text for text in exact if round(internal(float(text), binding) * 1000) == milli), repr(there))


def _word(air: Air, binding: Binding) -> str:
    words = {Air.STOPPED: binding.words_off, Air.RUNNING: binding.words_on, Air.WEAK: binding.words_weak}[air]
    return air.word if air.word in words or not words else min(words)


def _lines(folder: Path, lines: Lines, rows: Iterable[Row], source: Source) -> FileNote:
    with Sink(folder, f"{lines.stem}.jsonl") as sink:
        for row in rows:
            sink.write(json_line(lines.document(row, source.names)))
            sink.rows += 1
    return sink.note


def _told(source: Source, batch: str) -> Iterable[Row]:
    return source.connection.execute(TOLD.select.format(where="WHERE batch = ?"), (batch,))


def _transitions(source: Source, about: Slice) -> Iterator[Row]:
    subjects = {about.start.batch, about.start.vessel, *(probe.id for probe in about.probes)}
    where = source.where(TRANSITIONS.time, about.start.time, about.until)
    for row in source.connection.execute(TRANSITIONS.select.format(where=where)):
        if alarm_from_record(row[-1]).subject in subjects:
            yield row


def _configuration(folder: Path, settings: Settings, about: Slice) -> FileNote:
    """Neither channels nor anything secret; its store is none of the keeper's."""
    start = about.start
    with Sink(folder, "swimup.toml") as sink:
        sink.write(f"# What replay must know for the batch {start.batch}.\n")
        sink.write(_table("[site]", settings.site))
        sink.write('\n[store]\npath = "replay.sqlite3"\n')
        sink.write(_table("[alarms]", settings.alarms))
        for kind, sections in (
            ("vessel", [vessel for vessel in settings.vessels if vessel.id == start.vessel]),
            ("probe", about.probes),
            ("lot", [lot for lot in settings.lots if lot.id == start.lot]),
        ):
            for section in sections:
                sink.write(_table(f"[[{kind}]]", section))
    return sink.note


def _table(header: str, section: Section) -> str:
    lines = ["", header]
    for key, field in type(section).model_fields.items():
        value = getattr(section, key)
        if value is None or isinstance(value, SecretStr) or (isinstance(section, Probe) and not section.applies(key)):
            continue
        if isinstance(section, Probe) and key == "words_weak":
            value = section.weak_words
        lines.append(f"{key} = {form_of(field).write(value)}")
    return "\n".join(lines) + "\n"
