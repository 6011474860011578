"""What must agree between options: each check notes all it finds, and looks only at what is sound by itself."""

from __future__ import annotations

import ipaddress
from collections import defaultdict
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from monitor.core.model import Measures
from monitor.settings.channels import WAYS, check_channels, check_telling
from monitor.settings.errors import nearest, quoted
from monitor.settings.food import check_food
from monitor.settings.models import Alarms, Vessel
from monitor.settings.probes import NUMERIC_AIR, RANGES, WORDS
from monitor.settings.rooms import check_rooms
from monitor.settings.series import check_series_servers
from monitor.settings.stores import check_cold_stores, check_store_of
from monitor.settings.units import Kind, plain, told

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.settings.draft import Draft, Part
    from monitor.settings.probes import Probe


def cross_check(draft: Draft) -> None:
    """Run all checks."""
    for parts in (draft.vessel, draft.probe, draft.lot, draft.cold_store, draft.channel, draft.series_server):
        _no_id_twice(draft, parts)
    _broker(draft)
    _web(draft)
    _heartbeat(draft)
    _vessels(draft)
    _lots(draft)
    check_cold_stores(draft, _deadband(draft))
    for probe in draft.probe:
        _its_vessel(draft, probe)
        check_store_of(draft, probe)
        _its_tank(draft, probe)
        _its_decoder(draft, probe)
        _its_limits(draft, probe)
        _its_calibration(draft, probe)
        _its_air(draft, probe)
        _not_our_own_topic(draft, probe)
    _one_probe_a_value(draft)
    check_channels(draft)
    check_telling(draft)
    check_series_servers(draft, loopback)
    check_rooms(draft)
    check_food(draft)


def loopback(host: str) -> bool:
    """Whether an address can be reached from this machine only."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host.casefold() == "localhost"


def _no_id_twice(draft: Draft, parts: Sequence[Part[Any]]) -> None:
    first: dict[str, str] = {}
    for part in parts:
        if not part.sound("id"):
            continue
        name: str = part.value.id
        if name in first:
            draft.wrong_in(part, "id", f"{quoted(name)} a second time", f"an id of its own; {first[name]} has this one")
        first.setdefault(name, part.pointer)


def _broker(draft: Draft) -> None:
    part = draft.broker
    value = part.value
    if part.sound("password_file", "password_env") and value.password_file and value.password_env:
        draft.wrong_in(part, "password_env", "password_file and password_env", "one of the two")
    has_password = bool(part.given & {"password_file", "password_env"})
    if has_password and "user" not in part.given:
        draft.wrong_in(part, "user", "nothing, but a password", "the name that goes with the password")
    _pair(draft, part)
    if part.sound("url") and urlsplit(value.url).scheme == "mqtt":
        for key in ("ca_file", "cert_file", "key_file"):
            if key in part.given:
                draft.wrong_in(part, key, f"{key}, but a url without TLS", "a url that begins with mqtts://")


def _pair(draft: Draft, part: Part[Any]) -> None:
    """A certificate is of no use without its key, nor the key without it."""
    for one, other in (("cert_file", "key_file"), ("key_file", "cert_file")):
        if one in part.given and other not in part.given:
            draft.wrong_in(part, other, f"nothing, but {one}", "cert_file and key_file together")


def _web(draft: Draft) -> None:
    part = draft.web
    _pair(draft, part)
    _address(draft, part)
    if "viewer_password_file" in part.given and "password_file" not in part.given:
        found, allowed = "nothing, but viewer_password_file", "password_file, so that acting needs a password too"
        draft.wrong_in(part, "password_file", found, allowed)
    if not part.sound("host") or loopback(part.value.host):
        return
    lacks = []
    if "password_file" not in part.given:
        lacks.append(("a password", 'password_file: "swimup password" makes one'))
    if not {"cert_file", "key_file"} <= part.given:
        lacks.append(("TLS", 'cert_file and key_file: "swimup cert" makes them'))
    if lacks:
        missing = " and without ".join(what for what, _ in lacks)
        draft.wrong_in(
            part,
            "host",
            f"{quoted(part.value.host)}, which others can reach, without {missing}",
            '"127.0.0.1", or any address with a password and TLS',
            "Add " + "; ".join(how for _, how in lacks) + ".",
        )


def _address(draft: Draft, part: Part[Any]) -> None:
    """A link that the page itself would refuse, for its name, is worse than none."""
    if not part.sound("address", "host", "hostnames") or part.value.address is None:
        return
    name = (urlsplit(part.value.address).hostname or "").casefold()
    host = part.value.host.strip("[]").casefold()
    known = {name.casefold() for name in part.value.hostnames}
    # Listening on all addresses, it answers to each in figures.
    figures = host in ("0.0.0.0", "::") and _in_figures(name)  # noqa: S104  (compared, not bound)
    if not (loopback(name) or name == host or name in known or figures):
        allowed = f"an address with one of the hostnames: {', '.join(sorted(known)) or 'there are none'}"
        draft.wrong_in(part, "address", quoted(part.value.address), allowed, f"Add {quoted(name)} to hostnames.")


def _in_figures(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _heartbeat(draft: Draft) -> None:
    part = draft.heartbeat
    given = sorted(WAYS & part.given)
    if len(given) > 1:
        draft.wrong_in(part, given[-1], " and ".join(given), "one of url, url_file and url_env")


def _vessels(draft: Draft) -> None:
    if not draft.vessel and not any(problem.pointer == "/vessel" for problem in draft.problems):
        draft.wrong("/vessel", "nothing", "at least one [[vessel]] with id and litres")
    deadband = _deadband(draft)
    for part in draft.vessel:
        if not part.sound("cold_below", "hot_above"):
            continue
        cold, hot = part.value.cold_below, part.value.hot_above
        key = "cold_below" if "cold_below" in part.given else "hot_above"
        if cold >= hot:
            found = f"cold_below {told(cold, Kind.TEMPERATURE)} and hot_above {told(hot, Kind.TEMPERATURE)}"
            draft.wrong_in(part, key, found, "cold_below lower than hot_above", _default_of(part))
        elif hot - cold <= deadband:
            found = f"limits {told(hot - cold, Kind.TEMPERATURE)} apart"
            draft.wrong_in(
                part, key, found, f"further apart than the deadband of {plain(deadband)} C, or no alarm could end"
            )


def _deadband(draft: Draft) -> float:
    alarms = draft.alarms
    default: float = Alarms.model_fields["deadband"].default
    return alarms.value.deadband if alarms.sound("deadband") else default


def _lots(draft: Draft) -> None:
    for part in draft.lot:
        if "low_below" in part.given and "grams" not in part.given:
            draft.wrong_in(
                part, "low_below", "low_below without grams", "grams, what was in the tin when it was new, with it"
            )


def _default_of(part: Part[Vessel]) -> str:
    """Where one of two limits was not written, that it has a default."""
    for key in ("cold_below", "hot_above"):
        if key not in part.given:
            default = Vessel.model_fields[key].default
            return f"{key} was not given, so it is {told(default, Kind.TEMPERATURE)}."
    return ""


def _its_vessel(draft: Draft, part: Part[Probe]) -> None:
    if not part.sound("measures", "vessel"):
        return
    measures, vessel = part.value.measures, part.value.vessel
    known = sorted({vessel.value.id for vessel in draft.vessel if vessel.sound("id")})
    belongs = measures in (Measures.WATER, Measures.AIR)
    if vessel is None:
        if belongs and not (measures is Measures.AIR and "store" in part.given):
            draft.wrong_in(
                part, "vessel", "nothing", f"the vessel whose {measures} it measures: {', '.join(known) or 'none yet'}"
            )
    elif not belongs:
        draft.wrong_in(part, "vessel", quoted(vessel), f"no vessel: a probe of {measures} belongs to none")
    elif vessel not in known and known and all(vessel.sound("id") for vessel in draft.vessel):
        # A vessel whose own id is wrong, or lacking vessels, are told once, there; the probes are not to blame.
        draft.wrong_in(part, "vessel", quoted(vessel), ", ".join(known), nearest(vessel, known))


def _its_tank(draft: Draft, part: Part[Probe]) -> None:
    if not part.sound("measures", "tank"):
        return
    measures, tank = part.value.measures, part.value.tank
    if tank is None and measures is Measures.TANK:
        draft.wrong_in(part, "tank", "nothing", "a name for the tank whose temperature it measures")
    elif tank is not None and measures is not Measures.TANK:
        draft.wrong_in(part, "tank", quoted(tank), f"no tank: a probe of {measures} belongs to none")


def _its_decoder(draft: Draft, part: Part[Probe]) -> None:
    if not part.sound("decoder"):
        return
    decoder = part.value.decoder
    if decoder == "json" and "pointer" not in part.given:
        draft.wrong_in(part, "pointer", "nothing", 'with decoder "json", where the value is, such as "/temperature"')
    for key in ("pointer", "time_pointer", "sequence_pointer"):
        if decoder != "json" and key in part.given:
            draft.wrong_in(part, key, f'{key} with decoder "{decoder}"', 'pointers with decoder "json" only')
    if decoder != "senml" and "name" in part.given:
        draft.wrong_in(part, "name", f'name with decoder "{decoder}"', 'name with decoder "senml" only')


def _its_limits(draft: Draft, part: Part[Probe]) -> None:
    if not part.sound("measures", "unit", "low", "high"):
        return
    low, high = RANGES[part.value.measures]
    low = low if part.value.low is None else part.value.low
    high = high if part.value.high is None else part.value.high
    if low >= high:
        key = "low" if "low" in part.given else "high"
        draft.wrong_in(part, key, f"low {low:.6g} and high {high:.6g}", "low lower than high")
    if part.sound("max_change") and part.value.max_change is not None and part.value.max_change <= 0:
        draft.wrong_in(part, "max_change", plain(part.value.max_change), "a change above 0")


def _its_calibration(draft: Draft, part: Part[Probe]) -> None:
    if part.sound("measures") and part.value.measures is Measures.AIR:
        for key in sorted({"calibration", "recalibrate_after"} & part.given):
            draft.wrong_in(part, key, f'{key} with measures = "air"', "it for temperatures only")
    elif "recalibrate_after" in part.given and "calibration" not in part.given:
        draft.wrong_in(part, "recalibrate_after", "recalibrate_after without calibration", "calibration with it")


def _its_air(draft: Draft, part: Part[Probe]) -> None:
    if not part.sound("measures"):
        return
    value = part.value
    numeric = NUMERIC_AIR & part.given
    words = WORDS & part.given
    if value.measures is not Measures.AIR:
        for key in sorted(numeric | words):
            draft.wrong_in(
                part, key, f"{key} with measures = {quoted(value.measures)}", 'it with measures = "air" only'
            )
        return
    if "threshold" not in part.given:
        if (
            numeric
            and part.sound(*numeric)
            and (value.pulses or value.deadband is not None or value.weak_below is not None)
        ):
            draft.wrong_in(part, "threshold", "nothing", "the number at or above which air is running")
    elif words:
        draft.wrong_in(part, min(words), f"{min(words)} and a threshold", "words, or a number with its threshold")
    if part.sound("threshold", "deadband", "unit") and value.threshold is not None:
        _its_threshold(draft, part, value.threshold, value.deadband or 0.0)
        if part.sound("weak_below") and value.weak_below is not None:
            _its_weak_below(draft, part, value.threshold, value.weak_below)
    _its_words(draft, part)


def _its_words(draft: Draft, part: Part[Probe]) -> None:
    if not part.sound(*WORDS):
        return
    value = part.value
    found = {"words_off": value.words_on & value.words_off}
    if "words_weak" in part.given:
        found["words_weak"] = value.words_weak & (value.words_on | value.words_off)
    for key, both in found.items():
        if both:
            told = ", ".join(map(quoted, sorted(both)))
            draft.wrong_in(part, key, f"{told} in both lists", "each word in one list")


def _its_weak_below(draft: Draft, part: Part[Probe], threshold: float, weak_below: float) -> None:
    if weak_below <= threshold:
        above = f"a number above the threshold of {plain(threshold)}, or air could never be weak"
        draft.wrong_in(part, "weak_below", plain(weak_below), above)


def _its_threshold(draft: Draft, part: Part[Probe], threshold: float, deadband: float) -> None:
    if threshold <= 0:
        draft.wrong_in(part, "threshold", plain(threshold), "a number above 0, or air could never be stopped")
    elif not 0 <= deadband < threshold:
        draft.wrong_in(
            part,
            "deadband",
            plain(deadband),
            f"from 0 to less than the threshold of {plain(threshold)}, or air could never be stopped",
        )


def _not_our_own_topic(draft: Draft, part: Part[Probe]) -> None:
    if not part.sound("topic") or not draft.site.sound("id"):
        return
    own = f"swimup/{draft.site.value.id}/"
    topic = part.value.topic
    if topic in (f"{own}status", f"{own}summary") or topic.startswith(
        (f"{own}vessel/", f"{own}alarm/", f"{own}do/", f"{own}done/")
    ):
        draft.wrong_in(part, "topic", quoted(topic), "a topic that this service does not publish to itself")


def _one_probe_a_value(draft: Draft) -> None:
    """Two probes fed by the very same value would look like two witnesses."""
    seen: dict[tuple[str, str | None, str | None], list[Part[Probe]]] = defaultdict(list)
    for part in draft.probe:
        if part.sound("topic", "pointer", "name", "decoder"):
            seen[part.value.topic, part.value.pointer, part.value.name].append(part)
    for (topic, pointer, name), (first, *others) in seen.items():
        also = f" and pointer {quoted(pointer)}" if pointer is not None else f" and name {quoted(name)}" if name else ""
        for part in others:
            draft.wrong_in(
                part,
                "topic",
                f"the topic {quoted(topic)}{also} a second time",
                f"a value of its own; {first.about or first.pointer} has this one",
            )
