from __future__ import annotations

import hashlib
import shutil
import tracemalloc
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np
import pytest
from saying import automaton, frames, grammar, hiss, said

from companion.errors import ModelError
from companion.hearing.bundled import BundledRecogniser, levelled
from companion.hearing.model_files import catalogue, checked
from companion.language.loosely import question
from companion.language.meanings import Measure
from companion.language.word_order import packaged_word_order
from companion.ports import Completeness, Frame, Partial

if TYPE_CHECKING:
    from pathlib import Path

    from companion.hearing.network import Floats
    from companion.ports import Hearing, Samples

pytestmark = pytest.mark.sound

READINGS = automaton(
    *(
        f"{point} {value}"
        for point in ("supply static", "return static", "line voltage")
        for value in ("point four five", "point four", "one nineteen", "one ninety", "o l")
    )
)
COMMANDS = automaton("done", "read it back", "strike that", "c o alarm", "i smell gas", "i'm clear")
GRAMMAR = grammar(READINGS, COMMANDS)


@pytest.fixture(scope="module")
def loaded() -> BundledRecogniser:
    recogniser = BundledRecogniser()
    recogniser.load()
    return recogniser


@pytest.fixture
def recogniser(loaded: BundledRecogniser) -> BundledRecogniser:
    loaded.reset()
    loaded.listen_for(GRAMMAR, None)
    return loaded


def heard(recogniser: BundledRecogniser, speech: Samples) -> tuple[list[Partial], Hearing]:
    partials = [partial for frame in frames(speech) if (partial := recogniser.feed(frame))]
    return partials, recogniser.finish()


@pytest.mark.parametrize(
    "sentence",
    ["supply static point four five", "line voltage one nineteen", "read it back", "i smell gas"],
)
def test_sentences_are_heard(recogniser: BundledRecogniser, sentence: str) -> None:
    _, hearing = heard(recogniser, said(sentence))
    assert hearing.words == tuple(sentence.split())
    assert hearing.match > 0.5


def test_what_is_not_in_the_grammar_matches_worse(recogniser: BundledRecogniser) -> None:
    _, meant = heard(recogniser, said("read it back"))
    _, stray = heard(recogniser, said("the neighbor has a very friendly little dog"))
    assert stray.match < meant.match
    assert stray.gap > meant.gap


def test_the_sound_is_heard_freely_too(recogniser: BundledRecogniser) -> None:
    _, hearing = heard(recogniser, said("the neighbor has a very friendly little dog"))
    assert "dog" in hearing.free.lower()


def test_a_pause_gives_a_partial_with_where_the_words_stand(recogniser: BundledRecogniser) -> None:
    for sentence, completeness in (
        ("read it back", Completeness.CLOSED),
        ("supply static point four", Completeness.MAY_GO_ON),
        ("supply static point", Completeness.INCOMPLETE),
    ):
        partials, _ = heard(recogniser, said(sentence))
        assert [partial.completeness for partial in partials] == [completeness], sentence
        assert partials[0].words == tuple(sentence.split())


def test_the_decode_of_the_pause_is_kept_for_the_end(
    recogniser: BundledRecogniser, monkeypatch: pytest.MonkeyPatch
) -> None:
    encoded: list[int] = []
    encode = recogniser._network.encode

    def counted(sound: Floats) -> Floats:
        encoded.append(len(sound))
        return encode(sound)

    monkeypatch.setattr(recogniser._network, "encode", counted)
    heard(recogniser, said("read it back"))
    assert len(encoded) == 1


def test_voice_after_the_pause_is_heard_too(recogniser: BundledRecogniser) -> None:
    partials = [
        partial
        for part in ("supply static", "point four five")
        for frame in frames(said(part))
        if (partial := recogniser.feed(frame))
    ]
    assert partials[0].completeness is Completeness.INCOMPLETE
    assert recogniser.finish().words == ("supply", "static", "point", "four", "five")


def test_times_count_all_that_was_ever_fed() -> None:
    recogniser = BundledRecogniser()
    recogniser.feed(Frame(hiss(16_000), voiced=False))
    recogniser.reset()
    recogniser.listen_for(GRAMMAR, None)
    speech = said("read it back")
    _, hearing = heard(recogniser, speech)
    # one second before, 0.3 s of pause, and at most 0.16 s of margin before the voice
    assert 1.0 + 0.3 - 0.16 - 0.02 <= hearing.start_s <= 1.3
    assert hearing.end_s == pytest.approx(1.3 + len(speech) / 16_000 + 0.12, abs=0.03)


def test_no_grammar_taken_yet_hears_nothing() -> None:
    _, hearing = heard(BundledRecogniser(), said("read it back"))
    assert hearing.alternatives == ()


def test_a_speech_longer_than_any_command_is_no_command(recogniser: BundledRecogniser) -> None:
    speech = np.tile(said("supply static point four five"), 8)
    assert len(speech) > 12 * 16_000
    _, hearing = heard(recogniser, speech)
    assert hearing.alternatives == ()


def test_eleven_seconds_can_be_decoded(recogniser: BundledRecogniser) -> None:
    speech = np.tile(said("supply static point four five"), 8)[: 11 * 16_000]
    _, hearing = heard(recogniser, speech)
    assert hearing.free


def test_the_original_encoder_can_be_chosen() -> None:
    recogniser = BundledRecogniser(encoder="original")
    recogniser.listen_for(GRAMMAR, None)
    _, hearing = heard(recogniser, said("read it back"))
    assert hearing.words == ("read", "it", "back")


def test_a_damaged_network_is_told_with_its_path(tmp_path: Path) -> None:
    model = catalogue()["decoder"]
    path = tmp_path / model.file
    shutil.copyfile(checked(model), path)
    with path.open("r+b") as file:
        file.seek(1000)
        file.write(b"\0" * 64)
    with pytest.raises(ModelError) as caught:
        BundledRecogniser(folder=tmp_path)
    assert str(path) in str(caught.value)
    assert hashlib.sha256(path.read_bytes()).hexdigest() in str(caught.value)


def test_loudness_does_not_decide(recogniser: BundledRecogniser) -> None:
    speech = said("supply static point four five")
    quiet = (speech // 12).astype(np.int16)
    assert heard(recogniser, quiet)[1].words == heard(recogniser, speech)[1].words


def test_levelled_sound_stays_within_full_scale() -> None:
    loud = np.full(1000, 32_767, np.int16)
    assert np.abs(levelled(loud)).max() <= 1.0
    assert levelled(np.zeros(1000, np.int16)).max() == 0.0


def test_listening_on_for_ever_does_not_pile_up_sound(recogniser: BundledRecogniser) -> None:
    tracemalloc.start()
    frame = Frame(hiss(16_000), voiced=True)
    for _ in range(120):
        recogniser.feed(frame)
    kept, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    recogniser.reset()
    assert kept < 1_500_000  # 12 s are 0.4 MB, two minutes would be 3.8 MB and flags


def test_only_with_the_speller_are_matches_chances(recogniser: BundledRecogniser) -> None:
    _, by_both = heard(recogniser, said("read it back"))
    original = BundledRecogniser(encoder="original")
    original.listen_for(GRAMMAR, None)
    _, by_one = heard(original, said("read it back"))
    assert by_both.words == by_one.words == ("read", "it", "back")
    assert by_both.is_calibrated
    assert not by_one.is_calibrated


def test_what_is_far_from_the_grammar_is_spelled_and_matches_nothing(
    recogniser: BundledRecogniser,
) -> None:
    _, hearing = heard(recogniser, said("my neighbor sold his boat to a man from another town"))
    assert "neighbor" not in hearing.words
    assert hearing.match < 0.05
    assert hearing.free


def test_a_known_confusion_is_weighed_even_where_it_is_far_off(
    recogniser: BundledRecogniser,
) -> None:
    _, hearing = heard(recogniser, said("line voltage one nineteen"))
    assert ("line", "voltage", "one", "ninety") in [each.words for each in hearing.alternatives]


FREELY = replace(GRAMMAR, freely=packaged_word_order())
QUESTION = "how many volts do i lose over eighty feet of twenty gauge at half an amp"


@pytest.fixture
def free_recogniser(loaded: BundledRecogniser) -> BundledRecogniser:
    loaded.reset()
    loaded.listen_for(FREELY, None)
    return loaded


def test_a_question_in_words_of_its_own_is_heard_by_the_order_of_words(
    free_recogniser: BundledRecogniser,
) -> None:
    _, hearing = heard(free_recogniser, said(QUESTION))
    meant = question(hearing.words)
    assert meant is not None
    assert meant.sizing == "voltage-drop"
    assert meant.inputs["length"] == Measure(Decimal(80), "ft")
    assert free_recogniser.last is not None
    assert free_recogniser.last.is_free


def test_the_grammar_s_sentences_stay_behind_those_of_a_free_question(
    free_recogniser: BundledRecogniser, recogniser: BundledRecogniser
) -> None:
    _, bound = heard(recogniser, said(QUESTION))
    free_recogniser.listen_for(FREELY, None)
    _, free = heard(free_recogniser, said(QUESTION))
    assert bound.alternatives
    assert free.alternatives[0].words != bound.alternatives[0].words
    assert bound.alternatives[0].words in [each.words for each in free.alternatives]


def test_without_an_order_of_words_such_a_question_matches_nothing(
    recogniser: BundledRecogniser,
) -> None:
    _, hearing = heard(recogniser, said(QUESTION))
    assert hearing.match < 0.25


@pytest.mark.parametrize("sentence", ["supply static point four five", "read it back"])
def test_what_the_grammar_has_is_heard_as_without_an_order_of_words(
    loaded: BundledRecogniser, sentence: str
) -> None:
    found = []
    for bound in (GRAMMAR, FREELY):
        loaded.reset()
        loaded.listen_for(bound, None)
        _, hearing = heard(loaded, said(sentence))
        found.append(hearing.alternatives)
    assert found[0] == found[1]
