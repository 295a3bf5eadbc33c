"""Exact inference by enumeration, for many cases at once.

The model: an event takes one of N states; given the event, components are independent, each with
its own table; given a component's state, its observations are independent. Every posterior is one
pass over the N states. Observations come in as likelihoods, so uncertain ones are welcome (virtual
evidence, Pearl 1988): they commute, in whatever order they come.
"""

import msgspec
import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
_BLOCK = 128  # cases whose tables stay in the processor's cache while they are worked on


class Patterns(msgspec.Struct, frozen=True):
    """Everything that can be observed of the components, worked out once for many cases.

    Attributes:
        log_seen: Log chance of each pattern by event state: (patterns, N).
        given: Chance of its component's states by event and pattern: (N, patterns * states).
        states: Number of states.
    """

    log_seen: Array
    given: Array
    states: int


def enumerate_many(log_prior: Array, book: Patterns, shown: Array) -> tuple[Array, Array]:
    """Return the posteriors of many cases as two matrix products.

    Args:
        log_prior: Log chance of each event state: (N,).
        book: With a pattern for *nothing seen* of every component.
        shown: 1 where a case shows a pattern, else 0: (cases, patterns).

    Returns:
        Chance of each event state (cases, N), and of the states of each pattern's component
        (cases, patterns, states), meaningful for the patterns a case shows.
    """
    weights = np.empty((len(shown), book.log_seen.shape[1]))
    components = np.empty((len(shown), book.given.shape[1]))
    for start in range(0, len(shown), _BLOCK):
        block = slice(start, start + _BLOCK)
        part = weights[block]
        np.matmul(shown[block], book.log_seen, out=part)
        part += log_prior
        part -= part.max(axis=1, keepdims=True)
        np.exp(part, out=part)
        part /= part.sum(axis=1, keepdims=True)
        np.matmul(part, book.given, out=components[block])
    return weights, components.reshape(len(shown), -1, book.states)
