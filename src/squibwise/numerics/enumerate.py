"""Exact inference by enumeration: one event, many components that are independent given it.

The model: an event takes one of N states; given the event, components are independent, each with
its own table; given a component's state, its observations are independent. Every posterior is one
pass over the N states. Observations come in as likelihoods, so uncertain ones are welcome (virtual
evidence, Pearl 1988): they commute, in whatever order they come.
"""

from collections.abc import Sequence

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.errors import ModelError

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
_BLOCK = 128  # cases whose tables stay in the processor's cache while they are worked on


class Enumeration(msgspec.Struct, frozen=True):
    """A posterior.

    Attributes:
        event: Chance of each event state: (N,).
        components: Chance of each component's states: (components, states).
        log_evidence: Log probability of everything observed.
    """

    event: Array
    components: Array
    log_evidence: float


def enumerate_posterior(prior: Array, tables: Array, likelihoods: Array) -> Enumeration:
    """Return the posterior of the event and of every component.

    Args:
        prior: Chance of each event state: (N,).
        tables: Chance of each component's states given the event: (components, N, states);
            components with fewer states are padded with zeros.
        likelihoods: Chance of what was observed of a component, by its state: (components, states);
            ones where nothing was.

    Raises:
        ModelError: What was observed is impossible under every event.
    """
    seen = np.matmul(tables, likelihoods[:, :, None])[:, :, 0]
    scale = seen.max(axis=1)
    if not scale.min() > 0.0:
        raise ModelError("an observation is impossible under every event")
    weights = prior * np.multiply.reduce(seen / scale[:, None], axis=0)
    total = float(weights.sum())
    if not total > 0.0:
        raise ModelError("the observations together are impossible under every event")
    event = weights / total
    share = np.divide(event, seen, out=np.zeros_like(seen), where=seen > 0.0)
    components = np.matmul(share[:, None, :], tables)[:, 0, :] * likelihoods
    return Enumeration(event, components, float(np.log(total) + np.log(scale).sum()))


def margin(event: Array, shape: Sequence[int], axis: int) -> Array:
    """Return the chance of one event variable, the event being a grid of several.

    Args:
        event: Chance of each event state, variables in C order: (N,).
        shape: Number of states of each variable.
        axis: Which variable.
    """
    others = tuple(a for a in range(len(shape)) if a != axis)
    return np.asarray(event.reshape(shape).sum(axis=others))


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


def patterns(tables: Array, owner: Ints, likelihoods: Array) -> Patterns:
    """Return the tables of every pattern.

    Args:
        tables: As in ``enumerate_posterior``.
        owner: Component that each pattern is about: (patterns,).
        likelihoods: Chance of the pattern by its component's state: (patterns, states).
    """
    joint = tables[owner] * likelihoods[:, None, :]
    seen = joint.sum(axis=-1)
    given = joint / seen[:, :, None]
    count, size, states = joint.shape
    flat = given.transpose(1, 0, 2).reshape(size, count * states)
    return Patterns(np.log(seen), np.ascontiguousarray(flat), states)


def enumerate_many(log_prior: Array, book: Patterns, shown: Array) -> tuple[Array, Array]:
    """Return the posteriors of many cases as two matrix products.

    Args:
        log_prior: Log chance of each event state: (N,).
        book: From ``patterns``; give every component a pattern for *nothing seen*.
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
