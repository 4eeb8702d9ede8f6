"""The training: connectionist temporal classification of the encoder's states, with torch.

The network is that of `companion.hearing.speller`, weight by weight under the same names, so what
is written here is read there as it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random
from typing import TYPE_CHECKING, Any

import numpy as np
from tqdm import tqdm

from companion.bench.speller.weights import STATE_SIZE, TAPS
from companion.errors import EngineError
from companion.hearing.speller import PLACES

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import numpy.typing as npt

    from companion.bench.speller.states import Example, States

    Floats = npt.NDArray[np.float32]
    Tensors = Mapping[str, Any]

_BATCH = 48
_DROPPED = 0.15
_DECAY = 0.02
_STEEPEST = 1.0  # of the gradient
_FEWEST_LETTERS = 4  # a short text weighs no more than one of four letters
_SHUFFLED = 20  # states: batches are of like length, never twice the same


@dataclass(frozen=True)
class LearningRate:
    """How fast it learns: up to a rate, then down to nothing.

    Args:
        rate: the highest learning rate.
        rise: the share of the steps until there.
    """

    rate: float
    rise: float


AFRESH = LearningRate(2e-3, 0.15)
FURTHER = LearningRate(1.6e-3, 0.05)


@dataclass(frozen=True)
class Epoch:
    """What came of an epoch.

    Attributes:
        loss: the mean over its batches, nats a letter.
        weights: as they stand, float32.
    """

    loss: float
    weights: Mapping[str, Floats]


def torch_module() -> Any:  # noqa: ANN401 - it is typed only where it is installed
    """Return torch.

    Raises:
        EngineError: it is not installed.
    """
    try:
        import torch  # noqa: PLC0415 - for training alone
    except ImportError as exc:
        raise EngineError(
            "torch, which trains the speller, is not installed",
            "Install it: pip install -e '.[train]'",
        ) from exc
    return torch


@dataclass(frozen=True)
class Training:
    """A training.

    Args:
        states: where the sounds' states lie.
        examples: those that are learnt from, each with states enough for its letters.
        epochs: how often all of them.
        seed: decides the order and what is dropped.
        learning: how fast.
        threads: how many threads torch may use.
    """

    states: States
    examples: Sequence[Example]
    epochs: int
    seed: int
    learning: LearningRate = AFRESH
    threads: int = 1

    def run(self, start: Mapping[str, Floats]) -> Iterator[Epoch]:
        """Yield each epoch as it ends.

        Args:
            start: the weights to begin with, as `weights.shapes` has them.

        Raises:
            EngineError: torch is not installed.
        """
        torch = torch_module()
        torch.set_num_threads(self.threads)
        torch.manual_seed(self.seed)
        weights = {name: torch.tensor(each, requires_grad=True) for name, each in start.items()}
        optimiser = torch.optim.AdamW(weights.values(), lr=self.learning.rate, weight_decay=_DECAY)
        steps = self.epochs * -(-len(self.examples) // _BATCH)
        schedule = torch.optim.lr_scheduler.OneCycleLR(
            optimiser, self.learning.rate, total_steps=steps + 1, pct_start=self.learning.rise
        )
        chance = Random(self.seed)  # noqa: S311 - an order is no secret
        for number in range(1, self.epochs + 1):
            losses = []
            with tqdm(batches(self.examples, chance), dynamic_ncols=True) as bar:
                bar.set_description(f"epoch {number} of {self.epochs}")
                for batch in bar:
                    loss = self._loss(weights, batch)
                    optimiser.zero_grad()
                    loss.backward()
                    torch.nn.utils.clip_grad_norm_(weights.values(), _STEEPEST)
                    optimiser.step()
                    schedule.step()
                    losses.append(loss.item())
                    bar.set_postfix_str(f"loss {np.mean(losses):.3f}", refresh=False)
            kept = {name: each.detach().numpy().copy() for name, each in weights.items()}
            yield Epoch(float(np.mean(losses)), kept)

    def _loss(self, weights: Tensors, batch: Sequence[Example]) -> Any:  # noqa: ANN401 - a tensor
        """How unlikely the texts are, nats a letter, the mean over a batch."""
        torch = torch_module()
        states, counts = self._padded(batch)
        log_probs = log_probs_of(weights, torch.from_numpy(states), counts, is_learning=True)
        letters = [PLACES[letter] for example in batch for letter in example.text]
        lengths = torch.tensor([len(example.text) for example in batch])
        unlikely = torch.nn.functional.ctc_loss(
            log_probs.transpose(0, 1),
            torch.tensor(letters, dtype=torch.long),
            torch.tensor(counts),
            lengths,
            reduction="none",
            zero_infinity=True,
        )
        return (unlikely / lengths.clamp(min=_FEWEST_LETTERS)).mean()

    def _padded(self, batch: Sequence[Example]) -> tuple[Floats, list[int]]:
        counts = [example.count for example in batch]
        padded = np.zeros((len(batch), max(counts), STATE_SIZE), np.float32)
        for row, example in enumerate(batch):
            padded[row, : example.count] = self.states.of(example)
        return padded, counts


def batches(examples: Sequence[Example], chance: Random) -> list[list[Example]]:
    """Return the examples in batches of about one length, in any order."""
    ordered = sorted(examples, key=lambda each: each.count + chance.random() * _SHUFFLED)
    found = [ordered[at : at + _BATCH] for at in range(0, len(ordered), _BATCH)]
    chance.shuffle(found)
    return found


def log_probs_of(
    weights: Tensors,
    states: Any,  # noqa: ANN401 - a tensor
    counts: Sequence[int],
    *,
    is_learning: bool,
) -> Any:  # noqa: ANN401 - a tensor
    """Return the letters' log-probabilities, shape (rows, n, 29): what `Speller.hear` computes.

    Args:
        weights: tensors, as `weights.shapes` has them.
        states: float32, shape (rows, n, 288).
        counts: how many states of each row are sound; what lies behind has no part.
        is_learning: drop some values at random, so that none is relied on alone.
    """
    torch = torch_module()
    function = torch.nn.functional
    sounding = torch.arange(states.shape[1])[None] < torch.tensor(counts)[:, None]

    def thinned(values: Any) -> Any:  # noqa: ANN401
        return function.dropout(values, _DROPPED, is_learning)

    def convolved(values: Any, name: str) -> Any:  # noqa: ANN401
        kernel, bias = weights[f"{name}.weight"], weights[f"{name}.bias"]
        summed = function.conv1d(values, kernel, bias, padding=TAPS // 2)
        return function.relu(summed) * sounding[:, None]

    scale, shift = weights["norm.scale"], weights["norm.shift"]
    even = function.layer_norm(states, (STATE_SIZE,), scale, shift) * sounding[..., None]
    heard = thinned(convolved(thinned(even.transpose(1, 2)), "first"))
    heard = thinned(heard + convolved(heard, "second"))
    heard = thinned(heard + convolved(heard, "third")).transpose(1, 2)
    scores = function.linear(heard, weights["letters.weight"], weights["letters.bias"])
    return scores.log_softmax(-1)
