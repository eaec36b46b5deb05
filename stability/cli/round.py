"""`stability log --round`: the list of today, tin by tin, until it is done or somebody stops.

A reading is committed before its echo; whatever ends the talk, the next round goes on with what is left.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

import click

from stability.app import App
from stability.cli.round_talk import (
    QUIT,
    BackError,
    EndedError,
    HangUpError,
    QuitError,
    Talk,
    heard,
    talk_here,
)
from stability.cli.round_tin import TinTalk
from stability.cli.round_words import HELP, next_words, outcome_words, today_words
from stability.clock import now_utc
from stability.errors import StabilityError
from stability.services.record import Logged
from stability.services.round import (
    Act,
    Stop,
    Visit,
    acknowledge,
    note_taken_out,
    take_back,
    tin_in_hand,
    todays_stops,
)
from stability.services.round_set_up import SetUp, typed_set_up

__all__ = ["walk"]


def walk(app: App, *, store: str | None = None) -> None:
    """Walk today's list, of one store or of all."""
    walked = _Walk(app=app, talk=talk_here(), store=store, person=app.person, clock=now_utc)
    try:
        with heard(walked.talk):
            walked.run()
    except KeyboardInterrupt:
        walked.leave()
        raise click.Abort from None
    except HangUpError:
        raise SystemExit(129) from None
    except (EndedError, QuitError):
        walked.leave()


@dataclass(slots=True, kw_only=True)
class _Walk:
    """One walk: what is left, what was done, what was chosen and answered for on the way."""

    app: App
    talk: Talk
    person: str
    clock: Callable[[], datetime]
    store: str | None = None
    left: list[Stop] = field(default_factory=list)
    done: list[tuple[Logged, str, Stop | None]] = field(default_factory=list)
    taken_out: int = 0
    chosen: SetUp | None = None
    answered_for: set[tuple[str, ...]] = field(default_factory=set)

    def run(self) -> None:
        """Ask for tins until none is left."""
        self._look()
        self.talk.tell(today_words(self.left, self.clock().astimezone(self.app.zone), self.person))
        while self.left:
            self.talk.tell("")
            self.talk.tell(next_words(self.left[0], len(self.left)))
            line = self.talk.ask("tin")
            try:
                self._act(line)
            except BackError:
                self.talk.tell("nothing was stored of this tin; it stays on the list")
            except StabilityError as exc:
                self.talk.not_taken(exc)
        self.leave()

    def leave(self) -> None:
        """Say what was done and what is left."""
        self.talk.tell("")
        self.talk.tell(outcome_words(len(self.done), self.taken_out, self.left))

    def _look(self) -> None:
        self.left = list(
            todays_stops(self.app.records, now=self.clock(), settings=self.app.settings, store=self.store)
        )

    def _act(self, line: str) -> None:
        word, _, rest = line.partition(" ")
        act = word.casefold()
        if act in QUIT:
            raise QuitError
        if not act:
            return
        if act in ("?", "help"):
            self.talk.show(HELP)
        elif act == "list":
            self._look()
            for place, stop in enumerate(self.left):
                self.talk.tell(next_words(stop, len(self.left) - place), indent=2)
        elif act == "skip":
            self.left.append(self.left.pop(0))
        elif act == "undo":
            self._undo(rest.strip())
        elif act == "set":
            self._set(rest.split())
        else:
            self._tin(line)

    def _set(self, words: list[str]) -> None:
        self.chosen = typed_set_up(self.app.records, words, now=self.clock())
        said = "as at each tin's last reading" if self.chosen is None else self.chosen.words
        self.talk.tell(f"from now on: {said}")

    def _undo(self, reason: str) -> None:
        if not self.done:
            self.talk.tell("nothing was stored in this round; stability correct changes older readings")
            return
        logged, sample, stop = self.done[-1]
        was = take_back(
            self.app.records,
            sample,
            logged.taken_at,
            reason=reason or "no reason given",
            person=self.person,
            now=self.clock(),
            zone=self.app.zone,
        )
        self.done.pop()
        if stop is not None:
            self.left.insert(0, stop)
        self.talk.tell(f"taken back: {sample}, {was}; it stays on record and counts no longer")

    def _tin(self, line: str) -> None:
        visit, answer = self._visit_and_answer(line)
        stop = next((s for s in self.left if s.take_out and s.sample == visit.sample.sample), None)
        if stop is not None and not visit.on_list:
            self._take_out(stop, visit.to_acknowledge)
            return
        talked = TinTalk(
            app=self.app,
            talk=self.talk,
            visit=visit,
            person=self.person,
            clock=self.clock,
            answered_for=self.answered_for,
        )
        logged = talked.run(answer)
        measured = next((s for s in self.left if not s.take_out and s.sample == visit.sample.sample), None)
        if logged is not None and logged.stored:
            self.done.append((logged, visit.sample.sample, measured))
        if measured is not None and (talked.set_aside or (logged is not None and logged.stored)):
            self.left.remove(measured)

    def _visit_and_answer(self, line: str) -> tuple[Visit, str]:
        """Return the tin of a code and what was typed behind it; a code may hold blanks itself."""
        try:
            return self._visit(line), ""
        except StabilityError:
            code, _, answer = line.partition(" ")
            if not answer.strip():
                raise
            return self._visit(code), answer.strip()

    def _visit(self, code: str) -> Visit:
        return tin_in_hand(self.app.records, code, self.left, now=self.clock(), chosen=self.chosen)

    def _take_out(self, stop: Stop, cautions: tuple[str, ...]) -> None:
        lines = cautions or stop.line.cautions
        if cautions and cautions not in self.answered_for:
            self.talk.answer_for(lines)
            acknowledge(
                self.app.records, stop.sample, Act.TAKE_OUT, lines, person=self.person, now=self.clock()
            )
            self.answered_for.add(lines)
        else:
            for line in lines:
                self.talk.tell(f"caution: {line}", colour="yellow")
        note_taken_out(self.app.records, stop, person=self.person, now=self.clock())
        self.left.remove(stop)
        self.taken_out += 1
        self.talk.say(
            f"{stop.sample} is out of {stop.line.store} for its reading tomorrow: stands closed 24 h"
        )
