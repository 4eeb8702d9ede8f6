"""What came of a listening test, as text for a screen and as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from companion.audio.clipping import clipped_share
from companion.selftest.levels import CLIPPED_SHARE
from companion.selftest.listening_test import LEAST_READ
from companion.selftest.scoring import MARGIN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.selftest.listening_test import Level, Result
    from companion.selftest.scoring import Score

_NEAR_DB = 15.0  # below, words drown in the noise: common practice, no source
_WORDS_NAMED = 8  # of those that a recogniser cannot hear
_HEAD = (
    f"{'recogniser':<17} {'right (95 % bound)':>22} {'wrong':>6} {'asked':>6} {'missed':>7}"
    f" {'response, median':>17} {'95th':>8}"
)


def as_text(result: Result) -> str:
    """Return it for a screen."""
    return "\n".join(_lines(result))


def _lines(result: Result) -> Iterator[str]:
    yield f"Read: {len(result.takes)} of {result.asked} phrases."
    if result.level is None:
        return
    yield _level_line(result.level)
    yield ""
    yield _HEAD
    for score in result.scores:
        yield _score_line(score)
    for engine, problem in result.unusable.items():
        yield f"{engine:<17} not compared: {problem}"
    yield ""
    yield from _wrong_lines(result)
    yield from _choice_lines(result)


def _level_line(level: Level) -> str:
    told = (
        f"You: {level.speech_dbfs:.0f} dBFS, {level.snr_db:.0f} dB above a noise of "
        f"{level.noise_dbfs:.0f} dBFS; {level.clipped_share:.2%} clipped."
    )
    if level.clipped_share > CLIPPED_SHARE:
        return f"{told} Turn the microphone's level down."
    if level.snr_db < _NEAR_DB:
        return f"{told} Bring the microphone nearer to your mouth."
    return told


def _score_line(score: Score) -> str:
    rate = score.accuracy
    right = f"{rate.hits} of {rate.of} ({rate.low * 100:.0f} to {rate.high * 100:.0f} %)"
    if score.responses_s:
        midmost, slow = (f"{seconds * 1000:.0f} ms" for seconds in score.responses_s)
    else:
        midmost, slow = "-", "-"
    line = (
        f"{score.engine:<17} {right:>22} {score.count('wrong'):>6} {score.count('asked'):>6}"
        f" {score.count('missed'):>7} {midmost:>17} {slow:>8}"
    )
    if not score.missing_words:
        return line
    more = len(score.missing_words) - _WORDS_NAMED
    named = ", ".join(score.missing_words[:_WORDS_NAMED]) + (
        f" and {more} more" if more > 0 else ""
    )
    return f"{line}\n{'':<17} can't hear: {named}"


def _wrong_lines(result: Result) -> Iterator[str]:
    """Yield what was taken wrong: nothing else matters as much."""
    for score in result.scores:
        for take, heard in zip(result.takes, score.heard, strict=True):
            if heard.taken == "wrong":
                yield f'{score.engine} took "{take.phrase.reads}" as "{heard.sentence}".'


def _choice_lines(result: Result) -> Iterator[str]:
    if len(result.takes) < LEAST_READ:
        yield f"Kept: {result.before}, as before; fewer than {LEAST_READ} phrases tell nothing."
    elif result.now == result.before:
        yield (
            f"Kept: {result.before}, as before. {result.asked} phrases are few: another one is "
            f"taken only if it is better by {MARGIN} or more."
        )
    else:
        yield f"From now on: {result.now}, for your voice better than {result.before}."
        yield f"Change back with: companion models use {result.before}"


def as_json(result: Result) -> dict[str, Any]:
    """Return it as plain data."""
    return {
        "asked": result.asked,
        "read": len(result.takes),
        "level": _level(result.level),
        "recognisers": [_score(score) for score in result.scores],
        "not_compared": dict(result.unusable),
        "before": result.before,
        "kept": result.now,
        "phrases": [_phrase(result, number) for number in range(len(result.takes))],
    }


def _level(level: Level | None) -> dict[str, float] | None:
    if level is None:
        return None
    return {
        "speech_dbfs": round(level.speech_dbfs, 1),
        "noise_dbfs": round(level.noise_dbfs, 1),
        "snr_db": round(level.snr_db, 1),
        "clipped_share": round(level.clipped_share, 6),
    }


def _score(score: Score) -> dict[str, Any]:
    responses = score.responses_s
    return {
        "recogniser": score.engine,
        "accuracy": score.accuracy.as_json(),
        "wrong": score.count("wrong"),
        "asked": score.count("asked"),
        "missed": score.count("missed"),
        "response_median_s": round(responses[0], 3) if responses else None,
        "response_95th_s": round(responses[1], 3) if responses else None,
        "missing_words": list(score.missing_words),
    }


def _phrase(result: Result, number: int) -> dict[str, Any]:
    take = result.takes[number]
    return {
        "words": " ".join(take.phrase.words),
        "moment": take.phrase.moment.name,
        "speech_dbfs": round(take.span.speech_dbfs, 1),
        "noise_dbfs": round(take.span.noise_dbfs, 1),
        "snr_db": round(take.span.snr_db, 1),
        "clipped_share": round(clipped_share(take.speech), 6),
        "heard": {
            score.engine: {
                "sentence": score.heard[number].sentence,
                "taken": score.heard[number].taken,
                "response_s": _rounded(score.heard[number].response_s),
            }
            for score in result.scores
        },
    }


def _rounded(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds, 3)
