"""Sums of products of different tags, and the determinants that are such sums.

Where every tag stands in a matrix as one rank-one term, every minor of the matrix is of the first degree in each
tag. A product is then a set of tags, kept as bits, and whatever would hold a tag twice cancels.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

# Set of tags as bits -> integer coefficient, never zero.
Multilinear = dict[int, int]


def add(total: Multilinear, other: Mapping[int, int], factor: int = 1) -> None:
    """Add a multiple of one sum to another in place; what cancels is gone."""
    if factor == 0:
        return
    for product, coefficient in other.items():
        value = total.get(product, 0) + factor * coefficient
        if value:
            total[product] = value
        else:
            del total[product]


def summed(parts: Iterable[Mapping[int, int]]) -> Multilinear:
    """The sum of several sums."""
    total: Multilinear = {}
    for part in parts:
        add(total, part)
    return total


def cramer(
    rows: Sequence[Mapping[int, Mapping[int, int]]], size: int, sources: int
) -> tuple[Multilinear, list[list[Multilinear]]]:
    """Solve A x = b by Cramer's rule, for several b at once.

    Parameters
    ----------
    rows : for each row of [A | b] its entries by column: columns below `size` are A, those after it the b.
    sources : number of b.

    Returns
    -------
    determinant of A, and [unknown][source] numerators, so that x = numerator/determinant.

    Laplace expansion row by row. The minors of the rows so far are kept by their set of columns, so each is
    worked out once for all unknowns and sources together.
    """
    last_row = [max((r for r, row in enumerate(rows) if column in row), default=-1) for column in range(size)]
    of_sources = ((1 << sources) - 1) << size
    minors: dict[int, Multilinear] = {0: {0: 1}}
    for number, row in enumerate(rows):
        finished = sum(1 << column for column in range(size) if last_row[column] <= number)
        following: dict[int, Multilinear] = {}
        for columns, minor in minors.items():
            for column, entry in row.items():
                chosen = columns | 1 << column
                # Only one unknown's column may stay out, and only one source's may come in.
                out, in_ = (finished & ~chosen).bit_count(), (chosen & of_sources).bit_count()
                if chosen == columns or out > 1 or in_ > 1:
                    continue
                sign = -1 if (columns >> column).bit_count() % 2 else 1
                _add_product(following.setdefault(chosen, {}), minor, entry, sign)
        minors = following
    full = (1 << size) - 1
    unknown: list[list[Multilinear]] = []
    for column in range(size):
        # The source's column moves from the end to the place of the one that it replaces.
        sign = -1 if (size - 1 - column) % 2 else 1
        found = (minors.get(full & ~(1 << column) | 1 << (size + source), {}) for source in range(sources))
        unknown.append([{product: sign * c for product, c in minor.items()} for minor in found])
    return minors.get(full, {}), unknown


def _add_product(total: Multilinear, minor: Multilinear, entry: Mapping[int, int], sign: int) -> None:
    for tag, factor in entry.items():
        for product, coefficient in minor.items():
            if product & tag:
                continue  # a tag twice: cancels over the whole minor
            key = product | tag
            value = total.get(key, 0) + sign * factor * coefficient
            if value:
                total[key] = value
            else:
                del total[key]
