"""One tin of the guided round: cautions, questions, the doubt, the echo."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime

from stability.app import App
from stability.cli.round_talk import QUIT, STANDING, BackError, EndedError, QuitError, Talk, leave_on
from stability.cli.round_words import CARD_HEAD, HELP, QUESTIONS
from stability.errors import InputError, RecordsError, RefusedError, StabilityError
from stability.services.entry import ReadingEntry
from stability.services.record import Answer, Doubt, Logged, Reply, log_reading, note_refusal, refuse_early
from stability.services.round import Act, Visit, acknowledge, note_bulged
from stability.services.round_answer import (
    Asked,
    Said,
    action_words,
    another_wanted,
    apart_words,
    before_disposal,
    before_opening_bulged,
    card_lines,
    entry_of,
    heard,
    short_card,
    still_asked,
    with_third,
)

__all__ = ["TinTalk"]

_LONGEST = 500


@dataclass(slots=True, kw_only=True)
class TinTalk:
    """The talk about one tin; `set_aside` says that it is not to be asked for again in this round."""

    app: App
    talk: Talk
    visit: Visit
    person: str
    clock: Callable[[], datetime]
    answered_for: set[tuple[str, ...]]
    set_aside: bool = False
    said: Said = field(default_factory=Said)

    def run(self, first: str) -> Logged | None:
        """Ask until a reading is stored, taken back or left; `first` is what was typed behind the code.

        Raises
        ------
        BackError
            If the tin is left without a reading.
        """
        self._before()
        typed: str | None = first or None
        while self._ask_all(typed):
            logged = self._log()
            if logged is not None and logged.answer is not Answer.REPEAT:
                self._after(logged)
                return logged
            typed = None
        return None

    def _before(self) -> None:
        visit = self.visit
        if not visit.on_list:
            self.talk.tell(f"{visit.sample.sample} is not on the list of today: an extra reading")
        if visit.read_today_at is not None:
            at = visit.read_today_at.astimezone(self.app.zone)
            self.talk.tell(f"it was read at {at:%H:%M} already; undo takes that back, this adds another")
        if visit.set_up.words:
            self.talk.tell(f"with {visit.set_up.words}", indent=2)
        if visit.last_set_up.words and visit.set_up.words != visit.last_set_up.words:
            self.talk.tell(f"last time {visit.last_set_up.words}: read both today, as a bridge", indent=2)
        if visit.to_acknowledge and visit.to_acknowledge not in self.answered_for:
            self._answer_for(Act.TAKE_OUT, visit.to_acknowledge)
        self._cautions_once(visit.before_opening)

    def _cautions_once(self, lines: tuple[str, ...]) -> None:
        fresh = tuple(line for line in lines if (line,) not in self.answered_for)
        for line in fresh:
            self.talk.tell(f"caution: {line}", colour="yellow")
            self.answered_for.add((line,))
        if fresh:
            self.talk.tell(STANDING)

    def _answer_for(self, act: Act, lines: tuple[str, ...]) -> None:
        self.talk.answer_for(lines)
        acknowledge(
            self.app.records, self.visit.sample.sample, act, lines, person=self.person, now=self.clock()
        )
        self.answered_for |= {lines, *((line,) for line in lines)}

    def _ask_all(self, typed: str | None) -> bool:
        """Ask until all is said; return whether there is something to store."""
        asked = still_asked(self.visit, self.said) or Asked.VISCOSITY
        while True:
            if typed is not None:
                self._hear(typed, asked)
                self._refuse_early()
            if self.set_aside:
                return False
            while another_wanted(self.said.answer) and "third" not in self.said.passed:
                self._third()
            following = still_asked(self.visit, self.said)
            if following is None:
                return True
            if following is Asked.GRADE and asked is not Asked.GRADE:
                self.talk.tell(short_card(), indent=2)
            asked = following
            typed = self.talk.ask(QUESTIONS[str(asked)])

    def _third(self) -> None:
        typed = self.talk.ask(f"{apart_words(self.said.answer)}: a third, fresh filling")
        leave_on(typed)
        if typed == "-":
            self.said = self.said.passing("third")
            return
        try:
            self.said = with_third(self.said, typed)
        except InputError as exc:
            self.talk.not_taken(exc)

    def _hear(self, typed: str, asked: Asked | str) -> None:
        word, _, rest = typed.partition(" ")
        act = word.casefold()
        leave_on(act)
        if not act:
            return
        if act in ("?", "help"):
            self._help(asked)
        elif act == "-":
            self.said = self.said.passing(str(asked))
        elif act == "bulged":
            self._bulged()
        elif act == "note":
            self.said = replace(self.said, note=rest[:_LONGEST] or None)
        elif asked == "appearance":
            self.said = replace(self.said, appearance=typed[:_LONGEST])
        else:
            try:
                self.said = heard(self.visit, self.said, typed, Asked(asked))
            except InputError as exc:
                self.talk.not_taken(exc)

    def _help(self, asked: Asked | str) -> None:
        if asked == Asked.GRADE:
            self.talk.tell(CARD_HEAD)
            for line in card_lines():
                self.talk.tell(line, indent=2)
            return
        self.talk.show(HELP)

    def _bulged(self) -> None:
        lines = before_opening_bulged(self.visit)
        for line in lines:
            self.talk.tell(f"caution: {line}", colour="red")
        self.talk.tell(STANDING)
        self.talk.tell("Enter leaves it closed; type opened if the site's responsible person has it opened.")
        opened = self.talk.ask("closed").casefold() == "opened"
        sample, now = self.visit.sample.sample, self.clock()
        acknowledge(self.app.records, sample, Act.OPEN, lines, person=self.person, now=now)
        note_bulged(self.app.records, sample, opened=opened, person=self.person, now=now)
        if not opened:
            self.set_aside = True
            self.talk.say(f"{sample} stays closed; bulged, noted. It stays due: tell the responsible person")

    def _log(self) -> Logged | None:
        """Store the reading as doubted and answered, or return None where it has to be read again."""
        now = self.clock()
        entry = replace(entry_of(self.visit, self.said), taken_at=self.visit.moment(now))
        try:
            return log_reading(
                self.app.records,
                entry,
                person=self.person,
                now=now,
                zone=self.app.zone,
                on_doubt=self._on_doubt(entry),
            )
        except RefusedError:  # the attempt is on record already
            raise
        except InputError as exc:
            self._refused(entry, exc)
        except RecordsError as exc:
            self.talk.not_taken(exc)
        return None

    def _refuse_early(self) -> None:
        """Say at once, with the sample still in the cup, what no further answer could mend."""
        if not self.said.answer.read:
            return
        now = self.clock()
        entry = replace(entry_of(self.visit, self.said), taken_at=self.visit.moment(now))
        try:
            refuse_early(self.app.records, entry, now=now, zone=self.app.zone)
        except InputError as exc:
            self._refused(entry, exc)

    def _refused(self, entry: ReadingEntry, exc: InputError) -> None:
        """Keep the attempt and forget the number; the temperature, the mass and the words stay."""
        note_refusal(self.app.records, entry, because=str(exc), person=self.person, now=self.clock())
        self.talk.not_taken(exc)
        kept = replace(self.said.answer, viscosities=(), speeds=(), torque_pct=None, efflux_s=None)
        kept = replace(kept, over_range=False, thick=False, gel_grade=None)
        self.said = Said(answer=kept, appearance=self.said.appearance, note=self.said.note)

    def _on_doubt(self, entry: ReadingEntry) -> Callable[[str, tuple[Doubt, ...]], Reply]:
        def ask(echo: str, doubts: tuple[Doubt, ...]) -> Reply:
            self.talk.tell(f"read: {echo}")
            for doubt in doubts:
                self.talk.tell(f"doubt: {doubt.sentence}", colour="yellow")
            try:
                return self._reply()
            except (KeyboardInterrupt, EndedError, QuitError):
                because = f"stopped at the question: {doubts[0].sentence}"
                with suppress(StabilityError):
                    note_refusal(
                        self.app.records, entry, because=because, person=self.person, now=self.clock()
                    )
                raise

        return ask

    def _reply(self) -> Reply:
        while True:
            typed = self.talk.ask("keep WHY, repeat, undo, or the value read again")
            word, _, reason = typed.partition(" ")
            act = word.casefold()
            if act in QUIT - {"q"}:
                raise QuitError
            if act in ("u", "undo", "back"):
                return Reply(Answer.UNDO)
            if act in ("r", "repeat"):
                self._forget_the_number()
                return Reply(Answer.REPEAT)
            if act in ("k", "keep"):
                reason = reason.strip() or self.talk.ask("why it stays")
                if reason:
                    return Reply(Answer.KEEP, reason[:_LONGEST])
                continue
            try:
                again = heard(self.visit, self.said, typed, self._asked_for_number())
            except InputError as exc:
                self.talk.not_taken(exc)
                continue
            if again != self.said:
                self.said = again
                return Reply(Answer.REPEAT)

    def _asked_for_number(self) -> Asked:
        return Asked.SECONDS if self.visit.set_up.cup else Asked.VISCOSITY

    def _forget_the_number(self) -> None:
        answer = replace(self.said.answer, viscosities=(), speeds=(), over_range=False)
        answer = replace(answer, torque_pct=None, efflux_s=None, temperature_c=None, mass_g=None)
        self.said = replace(self.said, answer=answer, passed=frozenset())

    def _after(self, logged: Logged) -> None:
        grade = self.said.answer.gel_grade
        if not logged.stored:
            self.talk.tell(
                "it was stored before"
                if logged.already
                else "not stored; the attempt is in the event log, the tin stays on the list"
            )
            return
        self.talk.say(logged.echo)
        if logged.advice:
            self.talk.tell(logged.advice, indent=2)
        if action_words(grade):
            self.talk.tell(f"grade {grade}: {action_words(grade)}", indent=2)
        lines = before_disposal(self.visit, grade)
        if lines:
            with suppress(BackError):  # the reading stands; who does not answer is asked with the next one
                self._answer_for(Act.DISPOSE, lines)
