"""The neural network behind the bundled recogniser: an encoder and a decoder under onnxruntime."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from companion.errors import ModelError
from companion.hearing.tokens import START

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import numpy.typing as npt

    Floats = npt.NDArray[np.float32]

_LAYERS, _HEADS, _HEAD_SIZE = 6, 8, 36
_SIDES = [f"{layer}.decoder.{what}" for layer in range(_LAYERS) for what in ("key", "value")]
_SOUND = [f"{layer}.encoder.{what}" for layer in range(_LAYERS) for what in ("key", "value")]
_OWN = ["logits", *(f"present.{name}" for name in _SIDES)]
_MASK_STRIDE = 384  # the decoder takes every 384th element of its mask
_QUIET = 3  # onnxruntime's log level 'error'


class Network:
    """The two sessions, built when first used.

    Args:
        encoder: path of the encoder (.onnx or .ort).
        decoder: path of the merged decoder.
        threads: how many threads onnxruntime may use.
    """

    def __init__(self, encoder: Path, decoder: Path, *, threads: int = 1) -> None:
        self._paths = {"encoder": encoder, "decoder": decoder}
        self._threads = threads
        self._sessions: dict[str, Any] = {}

    def load(self) -> None:
        """Build both sessions now (about 0.2 s)."""
        for name in self._paths:
            self._session(name)

    def encode(self, sound: Floats) -> Floats:
        """Return the encoder's states, float32, shape (1, n, 288), about 42 a second.

        Args:
            sound: float32 mono at 16 kHz, shape (n,), -1 to 1.
        """
        feed = {"input_values": sound[None], "attention_mask": np.ones((1, len(sound)), np.int64)}
        (states,) = self._session("encoder").run(["last_hidden_state"], feed)
        return np.asarray(states, np.float32)

    def decoding(self, states: Floats, rows: int) -> Decoding:
        """Begin to decode.

        Args:
            states: what `encode` gave.
            rows: the most rows a step will have.
        """
        return Decoding(self._session("decoder"), states, rows)

    def _session(self, name: str) -> Any:  # noqa: ANN401 -- onnxruntime has no types
        session = self._sessions.get(name)
        if session is None:
            session = self._sessions[name] = _session(self._paths[name], self._threads)
        return session


class Decoding:
    """One sound being decoded, several rows at once, each row a text.

    Args:
        session: the decoder's session.
        states: the encoder's states, shape (1, n, 288).
        rows: the most rows a step will have.
    """

    def __init__(self, session: Any, states: Floats, rows: int) -> None:  # noqa: ANN401 -- as above
        self._session = session
        self._rows = rows
        self._states = states
        self._mask = _mask(states.shape[1])
        self._past: list[Floats] = []  # decoder side, a row each
        self._sound: dict[str, Floats] = {}  # encoder side, the same in every row

    def start(self) -> Floats:
        """Return the logits of the first piece, float32, shape (1, 32768)."""
        nothing = np.zeros((1, _HEADS, 0, _HEAD_SIZE), np.float32)
        past = {f"past_key_values.{name}": nothing for name in (*_SIDES, *_SOUND)}
        feed = self._feed(np.array([START]), past, cached=False)
        logits, *kept = self._session.run([*_OWN, *(f"present.{name}" for name in _SOUND)], feed)
        self._past = kept[: len(_SIDES)]
        self._sound = {
            f"past_key_values.{name}": np.repeat(side, self._rows, axis=0)
            for name, side in zip(_SOUND, kept[len(_SIDES) :], strict=True)
        }
        self._states = np.repeat(self._states, self._rows, axis=0)
        self._mask = np.repeat(self._mask, self._rows, axis=0)
        return np.asarray(logits[:, -1], np.float32)

    def step(self, tokens: Sequence[int], parents: Sequence[int]) -> Floats:
        """Return the logits after one more piece in each row, float32, shape (rows, 32768).

        Args:
            tokens: the piece to append, a row each.
            parents: the row of the step before that each row continues.
        """
        rows = len(tokens)
        past = {
            f"past_key_values.{name}": side[parents]
            for name, side in zip(_SIDES, self._past, strict=True)
        }
        past |= {name: side[:rows] for name, side in self._sound.items()}
        logits, *self._past = self._session.run(_OWN, self._feed(np.array(tokens), past))
        return np.asarray(logits[:, -1], np.float32)

    def _feed(
        self, tokens: npt.NDArray[np.int64], past: dict[str, Floats], *, cached: bool = True
    ) -> dict[str, Any]:
        rows = len(tokens)
        return {
            "input_ids": tokens[:, None],
            "encoder_hidden_states": self._states[:rows],
            "encoder_attention_mask": self._mask[:rows],
            "use_cache_branch": np.array([cached]),
            **past,
        }


def _mask(states: int) -> npt.NDArray[np.int64]:
    """A mask that lets all states through; above 384 states it is counted in samples."""
    return np.ones((1, states if states <= _MASK_STRIDE else states * _MASK_STRIDE), np.int64)


def _session(path: Path, threads: int) -> Any:  # noqa: ANN401 -- as above
    import onnxruntime  # noqa: PLC0415 -- an engine is loaded when it is used

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = threads
    options.inter_op_num_threads = 1
    options.log_severity_level = _QUIET
    try:
        return onnxruntime.InferenceSession(path, options, providers=["CPUExecutionProvider"])
    except Exception as exc:  # onnxruntime raises kinds of its own, none of them public
        raise ModelError(
            f"onnxruntime {onnxruntime.__version__} cannot load it: {str(exc).splitlines()[0]}",
            "Check the file with `companion selftest`, or install onnxruntime again.",
            where=str(path),
        ) from exc
