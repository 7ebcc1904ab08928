"""One screen of every kind that the page may be given, in English and in Korean, with made-up people."""

from __future__ import annotations

from typing import Any

Screen = dict[str, Any]

_WORDS = {
    "en": {
        "now": "The coach says", "heard": "Heard", "say": "You may say", "microphone": "Microphone",
        "halt": "Stop now", "time": "Time left", "keys": "Or press", "lost_head": "The page has lost the coach",
        "lost_text": "The session may still run. Say stop, or press the space bar in the coach's own window.",
        "windows": "",
    },
    "ko": {
        "now": "코치의 말", "heard": "들은 말", "say": "할 수 있는 말", "microphone": "마이크",
        "halt": "지금 멈추기", "time": "남은 시간", "keys": "또는 누르기", "lost_head": "페이지가 코치를 놓쳤습니다",
        "lost_text": "운동은 계속되고 있을 수 있습니다. 멈춰라고 말하거나 코치 창에서 스페이스 바를 누르세요.",
        "windows": "",
    },
}  # fmt: skip

HALT = {"key": " ", "name": "space", "does": "stop", "halts": True}


def step(lang: str, id_: str, **parts: Any) -> Screen:
    """Return a step with nothing on it but `parts`."""
    bare: Screen = {"place": "", "head": "", "lead": "", "lines": [], "meter": None, "progress": None, "fields": [],
            "choices": [], "problem": ""}  # fmt: skip
    return {"kind": "step", "id": id_, "serial": 1, "lang": lang, **bare, **parts, "words": dict(_WORDS[lang])}


def session(lang: str, state: str, **parts: Any) -> Screen:
    """Return a moment of a session."""
    english = lang == "en"
    title, person = ("Steadier ankle, weeks 1-4", "Mira") if english else ("흔들리지 않는 발목, 1-4주", "미라")
    bare: Screen = {
        "title": title, "person": person, "state_words": state, "said": "", "exercise": "", "place": "", "side": "",
        "count": None, "phase": None, "rest": None, "may_say": [], "keys": [_halt(lang)], "heard": None, "mic": 0.3,
        "alarm": None, "time_left": "about 12 min left" if english else "약 12분 남음",
    }  # fmt: skip
    words = dict(_WORDS[lang])
    return {"kind": "session", "serial": 8, "lang": lang, "state": state, **bare, **parts, "words": words}


def choice(id_: str, words: str, beside: str = "", weight: str = "plain") -> dict[str, str]:
    """Return one choice of a step."""
    return {"id": id_, "words": words, "beside": beside, "weight": weight}


def line(mark: str, text: str) -> dict[str, str]:
    """Return one line of a step."""
    return {"mark": mark, "text": text}


def key(pressed: str, does: str) -> dict[str, Any]:
    """Return a key that does not halt."""
    return {"key": pressed, "name": pressed, "does": does, "halts": False}


def _halt(lang: str) -> dict[str, Any]:
    return HALT if lang == "en" else HALT | {"name": "스페이스 바", "does": "멈춰"}


def _alarm(kind: str, head: str, text: str) -> dict[str, str]:
    return {"kind": kind, "head": head, "text": text}


def english() -> dict[str, Screen]:
    """Return the screens of a session by name, before, during and after it."""
    work = {"exercise": "Heel raise with slow lowering", "place": "Set 1 of 2", "side": "left side"}
    keys = [HALT, key("p", "hang on"), key("s", "slower"), key("e", "easier"), key("l", "how many"),
            key("d", "that's all"), key("f", "end session"), key("h", "it hurts"), key("t", "tired"),
            key("u", "wobbly"), key("b", "just a break")]  # fmt: skip
    say = [one["does"] for one in keys]
    return {
        "who": step("en", "who", place="Step 1 of 6", head="Who trains now?", choices=[
            choice("mira", "Mira", "Steadier ankle, due today"), choice("joon", "Joon", "Neck and back, not due yet"),
            choice("sol", "Sol", "Elbow lowering, two days late"), choice("new", "Somebody new", weight="small"),
        ]),
        "today": step("en", "today", place="Step 2 of 6", head="Today for Mira: 3 exercises, about 14 minutes",
                      lead="Last time was three days ago; the plan is due today.", lines=[
            line("plain", "Heel raise with slow lowering: 2 sets of 12."), line("small", "As last time."),
            line("plain", "Standing on one foot: 3 holds of 20 seconds. Your therapist made it harder from today."),
            line("plain", "Toe walking: 2 rounds. It is new."),
        ], choices=[choice("go", "Go on", weight="main"), choice("back", "Somebody else", weight="small")]),
        "check": step("en", "check", place="Step 3 of 6", head="Do we hear each other?", lines=[
            line("said", "Can you hear me? Say ready."), line("good", "The speaker plays."),
            line("bad", "The microphone gives nothing. Is it plugged in and switched on?"),
            line("open", "The word “ready” has not been heard yet."),
        ], meter={"label": "Microphone", "level": 0.42}, choices=[
            choice("again", "Try again", weight="main"), choice("keys", "Go on with keys only"),
            choice("back", "Back", weight="small"),
        ]),
        "enrol": step("en", "enrol", place="Word 4 of 14", head="Mira, please say: stop", lead="The second of three.",
                      lines=[line("said", "Say stop."), line("good", "The first was good."),
                             line("bad", "That one was too quiet. A little louder, please.")],
                      meter={"label": "Microphone", "level": 0.1},
                      progress={"label": "Words taught", "done": 11, "of": 42},
                      choices=[choice("later", "Stop here and go on another time", weight="small")]),
        "preparing": step("en", "preparing", place="Step 5 of 6", head="Preparing the voice",
                          lead="This takes about a minute the first time.",
                          progress={"label": "Sentences ready", "done": 12, "of": 80}),
        "waiting": session("en", "waiting", **work, state_words="Waiting for you",
                           said="Say ready when you stand well.",
                           may_say=["ready", "again", "why", "easier", "slower", "left", "break", "stop"],
                           keys=[*keys, key("r", "ready"), key("a", "say that again"), key("w", "tell me why"),
                                 key("n", "no")]),
        "working": session("en", "working", **work, state_words="Working", said="Lower, slowly.",
                           count={"n": 6, "beside": "of 12 reps"}, keys=keys, may_say=say,
                           phase={"name": "lower", "left": 2.4, "length": 4.0, "done": 0.4, "from": 1.0, "to": 0.0},
                           heard={"words": "“ready”", "ear": "taught words", "at": 1}),
        "holding": session("en", "holding", **work, state_words="Holding", keys=[*keys, key("r", "ready")],
                           said="I heard you, but I did not understand. Say ready to go on, or rest.",
                           count={"n": 12, "beside": "of 12 reps"}, may_say=["ready", *say],
                           phase={"name": "hold", "left": 1.0, "length": 1.0, "done": 0.0, "from": 1.0, "to": 1.0},
                           heard={"words": "not understood", "ear": "voice detector", "at": 2}),
        "resting": session("en", "resting", **work, state_words="Rest", said="Well done. Rest for a minute.",
                           rest={"left": 32, "of": 60, "beside": "seconds of rest"}, may_say=["stop", "easier"],
                           keys=[HALT, key("e", "easier"), key("f", "finish")]),
        "asking": session("en", "asking", **work, state_words="A question",
                          said="How much pain is there now? Zero is none, ten is the worst.",
                          may_say=["zero to ten", "stop", "again"],
                          keys=[HALT, *[key(n, n) for n in "0123456789"], key("x", "10"), key("a", "again")]),
        "halted": session("en", "halted", **work, state_words="Halted",
                          said="All is quiet. What is it? Say pain, tired, unsteady, or just a break.",
                          may_say=["pain", "tired", "unsteady", "break"],
                          keys=[HALT, key("h", "pain"), key("t", "tired"), key("u", "unsteady"), key("b", "break")],
                          alarm=_alarm("halted", "Halted", "Put it down and rest. Nothing goes on by itself.")),
        "paused": session("en", "paused", **work, state_words="Paused", said="I will wait. Say ready to go on.",
                          may_say=["ready", "finish"], keys=[HALT, key("r", "ready"), key("f", "finish")],
                          alarm=_alarm("paused", "Paused", "Rest as long as you need.")),
        "unanswered": session("en", "paused", **work, state_words="Paused", said="Are you all right? Please answer.",
                              may_say=["ready", "stop"], keys=[HALT, key("r", "ready"), key("f", "finish")],
                              alarm=_alarm("unanswered", "Nobody answers",
                                           "The coach has asked twice. Please look whether everything is all right.")),
        "deaf": session("en", "deaf", **work, state_words="Not hearing you",
                        said="I hear nothing from the microphone. Rest. Check the cable, or use the keys.",
                        keys=[HALT, key("f", "finish")],
                        alarm=_alarm("deaf", "The microphone is gone", "“Stop” is not heard now. Use the keys.")),
        "mute": session("en", "mute", **work, state_words="Not able to speak", said="Rest. I cannot speak just now.",
                        keys=[HALT, key("f", "finish")],
                        alarm=_alarm("mute", "The speaker is gone", "The coach cannot be heard. Read along here.")),
        "unclear": session("en", "holding", **work, state_words="Holding", keys=[*keys, key("r", "ready")],
                           said="Holding. Say ready to go on, or rest.", count={"n": 12, "beside": "of 12 reps"},
                           phase={"name": "hold", "left": 1.0, "length": 1.0, "done": 0.0, "from": 1.0, "to": 1.0},
                           may_say=["ready", *say], heard={"words": "not understood", "ear": "voice", "at": 2},
                           alarm=_alarm("unclear", "Not understood",
                                        "The coach heard a voice and asks again. Say it once more, or press it here.")),
        "no_echo": session("en", "working", **work, state_words="Working", said="Lower, slowly.", keys=keys,
                           may_say=say, count={"n": 6, "beside": "of 12 reps"},
                           phase={"name": "lower", "left": 2.4, "length": 4.0, "done": 0.4, "from": 1.0, "to": 0.0},
                           alarm=_alarm("no_echo", "The microphone does not hear the speaker",
                                        "Without headphones, check that the speaker is on.")),
        "after": step("en", "after", head="Done for today, Mira", lead="Next time: the day after tomorrow.", lines=[
            line("good", "Heel raise: 2 of 2 sets, 24 reps."), line("good", "One foot: 3 holds of 20 seconds."),
            line("bad", "Toe walking ended early: unsteady. Please tell the therapist."),
            line("plain", "Highest pain stated: 2 of 10."),
        ], fields=[{"id": "note", "label": "Your note, as the caregiver", "kind": "text", "most": 500,
                    "value": ""}],
            choices=[choice("keep", "Keep the note and end", weight="main"), choice("end", "End without a note")]),
        "named": step("en", "named", place="Step 1 of 6", head="What are you called?",
                      fields=[{"id": "name", "label": "Your name", "kind": "line", "most": 60, "value": ""}],
                      choices=[choice("go", "Go on", weight="main"), choice("back", "Back", weight="small")],
                      problem="Somebody with that name is here already. Please add a second name."),
    }  # fmt: skip


def korean() -> dict[str, Screen]:
    """Return the screens that differ most in another script."""
    work = {"exercise": "천천히 내리는 뒤꿈치 들기", "place": "2세트 중 1세트", "side": "왼쪽"}
    keys = [_halt("ko"), key("p", "잠시 멈춤"), key("s", "더 천천히"), key("e", "더 쉽게"), key("h", "아파요"),
            key("t", "힘들어요"), key("u", "흔들려요"), key("f", "끝내기")]  # fmt: skip
    say = ["멈춰", "천천히", "쉽게", "아파요", "힘들어요", "흔들려요"]
    return {
        "ko-who": step("ko", "who", place="6단계 중 1단계", head="지금 누가 운동하나요?", choices=[
            choice("mira", "미라", "흔들리지 않는 발목, 오늘 할 차례"), choice("new", "새로운 사람", weight="small"),
        ]),
        "ko-check": step("ko", "check", place="6단계 중 3단계", head="서로 들리나요?", lines=[
            line("said", "제 말이 들리나요? 준비됐어요라고 말씀하세요."), line("good", "스피커에서 소리가 납니다."),
            line("bad", "마이크에서 아무 소리도 들리지 않습니다. 꽂혀 있는지 보세요."),
        ], meter={"label": "마이크", "level": 0.42}, choices=[choice("again", "다시 해 보기", weight="main")]),
        "ko-working": session("ko", "working", **work, state_words="운동 중", said="천천히 내리세요.", keys=keys,
                              count={"n": 6, "beside": "/ 12회"}, may_say=say,
                              phase={"name": "내리기", "left": 2.4, "length": 4.0, "done": 0.4, "from": 1.0,
                                     "to": 0.0},
                              heard={"words": "“준비됐어요”", "ear": "가르친 낱말", "at": 1}),
        "ko-halted": session("ko", "halted", **work, state_words="정지", keys=[_halt("ko"), key("h", "아파요")],
                             said="무슨 일인가요? 아파요, 힘들어요, 흔들려요, 그냥 쉴래요 중에 말씀해 주세요.",
                             alarm=_alarm("halted", "멈췄습니다", "내려놓고 쉬세요. 저절로 다시 시작하지 않습니다.")),
        "ko-after": step("ko", "after", head="미라 님, 오늘은 여기까지입니다", lead="다음 운동: 모레", lines=[
            line("good", "뒤꿈치 들기: 2세트 중 2세트"), line("bad", "발끝 걷기는 일찍 끝났습니다: 흔들림."),
        ], fields=[{"id": "note", "label": "보호자로서 덧붙일 말", "kind": "text", "most": 500, "value": ""}],
            choices=[choice("keep", "메모를 남기고 끝내기", weight="main")]),
    }  # fmt: skip


SCREENS: dict[str, Screen] = english() | korean()
