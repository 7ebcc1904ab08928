"""In the review, a session that broke off and was taken up is one session."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

from coach.cli.session_setup import prepare
from coach.logbook.pain import Pain
from coach.logbook.store import Home
from coach.review.measures import review
from coach.testing import RandomPerson, StoredRun, begin_in


def test_a_session_that_broke_off_and_was_taken_up_counts_once(tmp_path: Path) -> None:
    now = [datetime(2027, 1, 11, 9, 30, tzinfo=UTC)]
    home = Home(tmp_path, lambda: now[0])
    home.add_person("mira")
    first = prepare("ankle_steady", home, "mira")
    for part in range(2):
        today = first.today if part == 0 else prepare("ankle_steady", home, "mira").left
        assert today is not None
        store = begin_in(home, "mira", today)
        run, who = StoredRun(today, store.append), RandomPerson(Random(2), odd=0.0, silent=0.0)
        while not run.over and (part == 1 or run.session.sets_begun < 2):
            who.move(run)
        store.close()
        home.close_broken("mira")
        now[0] += timedelta(minutes=30)
    history = home.history("mira")
    files = [(path.name, record) for path, record in zip(history.paths, history.records, strict=True)]

    found = review("mira", files, programs={first.program.digest: first.program}, now=now[0].astimezone())

    (visit,) = found.visits
    told = next(one.value for one in visit.record.questions if one.question == "pain" and not one.set_id)
    assert isinstance(told, int)
    assert (found.adherence.due, found.adherence.done, found.adherence.came) == (1, 1, 1)
    assert visit.record.why == "done"
    assert visit.tally.before == Pain(told, told)
    assert len(visit.record.sets) == visit.record.sets_planned
    assert visit.tension_prescribed_s is not None
    assert visit.tally.tension_s < visit.tension_prescribed_s < 2 * visit.tally.tension_s
    assert found.left_out == ()
