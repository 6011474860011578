"""From the bytes of one message to samples. Pure: bytes, binding and time of arrival in, samples or a reason out."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from monitor.core.model import Sample
from monitor.core.quality import MISSING_C, POWER_ON_C
from monitor.intake import document, senml
from monitor.intake.unreadable import Unreadable
from monitor.intake.values import air, internal, number, number_from_text, own_time, sequence, within_limit

if TYPE_CHECKING:
    from monitor.core.model import Ms
    from monitor.intake.binding import Binding, Line

LARGEST = 64 * 1024
"""Bytes. A larger message is counted and not looked into."""

FAULT_WITHIN_C = 0.005

__all__ = ["LARGEST", "Unreadable", "decode"]


def decode(payload: bytes, binding: Binding, arrived: Ms | None) -> list[Sample]:
    """The samples in a message for one probe, at least one, in the internal unit, not yet judged.

    ``arrived`` is where relative times (SenML) count from. Give None when the arrival says nothing about the time of
    measuring, because the message was retained, waited at the broker or is delivered again: relative times are then
    left out, so that a second delivery cannot look like another reading.

    Raises :class:`Unreadable`, whatever the bytes are, and nothing else.
    """
    if len(payload) > LARGEST:
        raise Unreadable(f"more than {LARGEST} bytes, which no reading has", "oversize")
    if binding.decoder == "senml":
        samples = senml.read(payload, binding, arrived)
    else:
        samples = [_json(payload, binding) if binding.decoder == "json" else _number(payload, binding)]
    return samples if binding.calibration is None else [_true(sample, binding.calibration) for sample in samples]


def _true(sample: Sample, line: Line) -> Sample:
    """The sample as calibrated; what a sensor tells that has not measured stays as it is, to be known by its number."""
    told = sample.value
    if told is None or any(abs(told - broken) < FAULT_WITHIN_C for broken in (POWER_ON_C, MISSING_C)):
        return sample
    return replace(sample, value=within_limit(line.true(told)))


def _number(payload: bytes, binding: Binding) -> Sample:
    try:
        text = payload.decode()
    except UnicodeDecodeError as error:
        raise Unreadable("not text in UTF-8", "encoding") from error
    if binding.is_word:
        return Sample.of_air(air(text, binding))
    return Sample(value=internal(number_from_text(text), binding))


def _json(payload: bytes, binding: Binding) -> Sample:
    message = document.parse(payload)
    found = document.at(message, binding.pointer)
    time = None if binding.time_pointer is None else own_time(document.at(message, binding.time_pointer))
    seq = None if binding.sequence_pointer is None else sequence(document.at(message, binding.sequence_pointer))
    if binding.is_word:
        return Sample.of_air(air(found, binding), time, seq)
    return Sample(value=internal(number(found), binding), time=time, seq=seq)
