"""Harvesting a batch, from its page or by a tap on the bench; with counted drops, where some were counted.

Of a count the number of young brine shrimp is logged: it is what the record and the stories of batches tell. The share of the
cysts is logged beside it only where the count is good enough to teach the tin (``share_to_log``), and never twice: what the
keeper typed as the share stands instead.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.routing import Route

from monitor.core.counting import Count, share_to_log
from monitor.core.log import Harvest
from monitor.web.bodies import open_batches
from monitor.web.count_words import percent, sentence, view
from monitor.web.counted import document, reckoned
from monitor.web.counts import read_sample, remember
from monitor.web.given import Fields, field_count, field_share, invalid
from monitor.web.harvest_form import show
from monitor.web.problems import Trouble

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.web.batch_pages import BatchPages
    from monitor.web.site import Site


class Harvesting:
    def __init__(self, site: Site, batches: BatchPages) -> None:
        self._site = site
        self._batches = batches

    def routes(self) -> list[Route]:
        return [Route("/batches/{batch:path}/harvest", self._site.form(self.harvest), methods=["POST"])]

    async def harvest(self, request: Request, given: Fields) -> Response:
        """``do=reckon`` tells what the drops say and ends nothing."""
        batch = request.path_params["batch"]
        try:
            count = _counted(self._site.desk.bench(), batch, given)
            if count is not None:
                remember(request, count.sample)
            if given.get("do") == "reckon":
                if count is None:
                    raise invalid("Counted: say what you counted, one number for each drop.")
                show(request, view(document(count)))
                return await self._batches.page(request, given, "")
            command = _command(self._site.when(given), self._site.now, batch, given, count)
        except Trouble as trouble:
            return await self._batches.page(request, given, trouble.detail, trouble.status)
        return await self._batches.tap(request, command, _noted(command, count), given)


def _counted(bench: Mapping[str, Any], batch: str, given: Fields) -> Count | None:
    """What the drops tell of a batch, whose water, cysts and tin are known. Raises Trouble."""
    if not given.get("drops", "").strip():
        return None
    for known in open_batches(bench):
        if known["id"] == batch:
            litres, cysts_g, tin = float(known["litres"]), float(known["cysts_g"]), str(known["lot"])
            return reckoned(read_sample(bench, given, litres=litres, cysts_g=cysts_g, tin=tin))
    raise invalid(
        f"{batch} is not open, so its water is not known here. Reckon under Count drops, and give the number."
    )


def _command(time: int, now: int, batch: str, given: Fields, count: Count | None) -> Harvest:
    share, number = field_share(given), field_count(given)
    if count is None or count.in_all is None:
        return Harvest(time, now, batch, share, number)
    if number is not None:
        raise invalid("Give the counted drops or how many there are, not both.")
    return Harvest(
        time, now, batch, share if share is not None else share_to_log(count), float(round(count.in_all.mid))
    )


def _noted(command: Harvest, count: Count | None) -> str:
    told = f"Noted: {command.batch} is harvested."
    if count is None:
        return told
    taught = command.hatched_fraction
    share = f" Hatched: {percent(taught)}, which the tin learns from." if taught is not None else ""
    return f"{told} {sentence(count)}{share}"
