"""The board: everything that a lab wants to see in one look, put together from records and forecasts."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from stability.board.view import BlindPeriod, BoardView
from stability.chemistry.cautions import STANDING_LINE
from stability.records.alerts import alert_rows
from stability.records.engine import Records
from stability.records.happenings import blind_periods
from stability.records.sweeps import last_look
from stability.services.alerts import alert_line
from stability.services.blends import blends_of
from stability.services.checks_round import round_of, work_lines
from stability.services.cure import cure_verdict, cures_of
from stability.services.forecast import forecasts
from stability.services.lots import as_rows
from stability.services.state import blend_lines, sample_lines, store_lines
from stability.settings import Settings

__all__ = ["Records", "board_view"]

SAMPLES_SHOWN = 30


def board_view(
    records: Records, *, as_of: datetime, settings: Settings, study: str | None = None, samples: bool = False
) -> BoardView:
    """Return the board as known at an instant, of one study or of all that are open."""
    found = {f.blend_key: f for f in forecasts(records, as_of=as_of, settings=settings, study=study)}
    with records.reading() as connection:
        every = as_rows(blends_of(connection, as_of=as_of, study=study), found)
        blends = [b for b in every if study is not None or b.study.is_open(as_of)]
        cures = {b.key.text: cure_verdict(b, cures_of(connection, b, as_of=as_of)) for b in blends}
        rows = [a for a in alert_rows(connection, as_of=as_of) if study is None or a.study in (None, study)]
        look = last_look(connection, as_of=as_of)
        blind = blind_periods(connection, as_of=as_of, limit=3)
    shown = [found[b.key.text] for b in blends if b.key.text in found]
    tins = [s for b in blends for s in b.samples]
    titles = sorted({b.study.title for b in blends})
    today = round_of(records, as_of=as_of, settings=settings)
    zone = ZoneInfo(settings.time_zone)
    return BoardView(
        as_of=as_of,
        zone_name=settings.time_zone,
        title=f"{study}: {titles[0]}" if study and titles else "Storage stability",
        work=tuple(w for w in work_lines(today, zone=zone) if study in (None, w.study)),
        alerts=tuple(alert_line(row) for row in rows),
        blends=blend_lines(shown, as_of=as_of, cures=cures),
        samples=sample_lines(blends, found, as_of=as_of, limit=SAMPLES_SHOWN) if samples else (),
        samples_total=len(tins) if samples else None,
        stores=store_lines(records, as_of=as_of, samples=tins),
        blind_periods=tuple(BlindPeriod(from_at=since, to_at=until) for since, until in blind),
        cautions=(STANDING_LINE,),
        last_sweep_at=None if look is None else look.as_of,
        invented=any("invented" in title.lower() for title in titles),
    )
