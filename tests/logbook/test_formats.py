"""Records of older formats still read: `records/` holds a session of a made-up patient in each."""

from __future__ import annotations

from pathlib import Path

from coach.logbook import VERSION, assemble, read_lines
from coach.logbook.seals import unbroken

RECORDS = Path(__file__).parent / "records"


def test_there_is_a_record_of_every_format_before_this_one() -> None:
    assert sorted(path.stem for path in RECORDS.iterdir()) == [f"format-{v}" for v in range(1, VERSION)]


def test_a_record_of_the_first_format_reads_without_a_complaint_and_tells_the_same() -> None:
    reading = read_lines((RECORDS / "format-1.jsonl").read_text("utf-8"), "20261129t085538z-1")
    record = assemble(reading.lines)

    assert reading.problems == ()
    assert unbroken((RECORDS / "format-1.jsonl").read_bytes(), "20261129t085538z-1")
    assert (record.why, record.sets_planned, len(record.sets), record.sets_in_full) == ("done", 8, 8, 7)
    assert [(halt.state, halt.exercise, halt.word, halt.why) for halt in record.halts] == [
        ("working", "heel_lowering", "stop", "unsteady")
    ]
    assert record.exercise_ends[0] == ("heel_lowering", "unsteady")
    assert record.highest_pain == 2
