"""How vanes and burns scatter: one-way random effects, with the burn as the group.

A vane's factor is 1, plus what its burn adds to all its vanes (standard deviation σ_b), plus what
is its own (σ_v). Vanes of one burn share a chamber pressure, a mixture and a start, so eight vanes
of two burns are nearer to two measurements than to eight. From the mean squares between burns
(MSB) and within them (MSW):

    E[MSW] = σ_v²      E[MSB] = σ_v² + n₀ σ_b²      n₀ = (N − Σ n_i² / N) / (a − 1)

with N vanes in a burns, n_i in burn i (variance components by analysis of variance: NIST/SEMATECH
e-Handbook of Statistical Methods, 7.4.4). One more vane in one more burn differs from the fitted
mean by σ_b²(1 + Σ W_i²) + σ_v²(1 + Σ w_k²), w_k each vane's weight in the mean, W_i their sums over
burns. That is a sum of two mean squares; its degrees of freedom are Satterthwaite's (Biometrics
Bulletin 2, 1946, 110-114).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike

CONFIDENCE = 0.95
# What is taken where one burn, or one vane, tells nothing of the scatter. An order of magnitude for
# small liquid engines, from no source: the report says that it was assumed.
ASSUMED = 0.10
# With plain Satterthwaite degrees of freedom a 95 % band from two burns of four vanes holds only 90
# to 93 % of new vanes: where MSB comes out small by chance, its few degrees of freedom count too
# little. So they are taken as if MSB were low, at this quantile of its chi-square. Simulated over
# σ_b/σ_v from 0 to 30 and 2 to 6 burns of 2 to 4 vanes, the band then holds 94.4 % or more.
LOW_QUANTILE = 0.35


@dataclass(frozen=True)
class Scatter:
    """The scatter of factors. `between` MSB and `within` MSW, with `burns` a, `vanes` N.

    `burn_freedom`: a − 1, less what was fitted to the burns; `per_burn` n₀, `weights_squared`
    Σ w_k², `burn_weights_squared` Σ W_i².
    """

    between: float
    within: float
    burns: int
    vanes: int
    burn_freedom: int
    per_burn: float
    weights_squared: float
    burn_weights_squared: float

    @property
    def vanes_told(self) -> bool:
        """Whether some burn had two vanes, so that vanes can be told from burns."""
        return self.vanes > self.burns

    @property
    def burns_told(self) -> bool:
        """Whether there were two burns."""
        return self.burns > 1

    @property
    def vane(self) -> float:
        """σ_v, between vanes of one burn; 0 where each burn had one vane (it is in `burn`), ASSUMED
        for a single vane.
        """
        if self.vanes == 1:
            return ASSUMED
        return float(np.sqrt(self.within))

    @property
    def burn(self) -> float:
        """σ_b, between burns; ASSUMED where there was one burn only."""
        if not self.burns_told:
            return ASSUMED
        return float(np.sqrt(max(self.between - self.within, 0.0) / self.per_burn))

    @property
    def shared_variance(self) -> float:
        """Variance of what all four vanes of one more burn share: the burn, and the error of the
        fitted mean.
        """
        return (
            self.burn**2 * (1.0 + self.burn_weights_squared) + self.vane**2 * self.weights_squared
        )

    def _terms(self) -> list[tuple[float, float]]:
        """The parts of a new vane's variance, each with its degrees of freedom."""
        own, shared = 1.0 + self.weights_squared, 1.0 + self.burn_weights_squared
        if not self.burns_told:
            vane_freedom = self.vanes - 1 or np.inf
            return [(self.vane**2 * own, vane_freedom), (self.burn**2 * shared, np.inf)]
        between = max(self.between, self.within)
        terms: list[tuple[float, float]] = [(between * shared / self.per_burn, self.burn_freedom)]
        if self.vanes_told:
            # Where few of many burns had two vanes n₀ is near 1, and this can be below nothing.
            rest = max(own - shared / self.per_burn, 0.0)
            terms.append((self.within * rest, self.vanes - self.burns))
        return terms

    @property
    def new_vane_variance(self) -> float:
        """Variance of one more vane in one more burn against the fitted mean."""
        return sum(term for term, _ in self._terms())

    @property
    def half_width(self) -> float:
        """Half the 95 % band for one more vane in one more burn, as a share of the mean."""
        terms = self._terms()
        guarded = list(terms)
        if self.burns_told and self.vanes_told:
            low = float(scipy.stats.chi2.ppf(LOW_QUANTILE, self.burn_freedom)) / self.burn_freedom
            guarded[0] = (terms[0][0] / low, terms[0][1])
        return quantile(satterthwaite(guarded)) * float(np.sqrt(self.new_vane_variance))


def satterthwaite(terms: Sequence[tuple[float, float]]) -> float:
    """Degrees of freedom of a sum of independent variances: `terms` of (variance, its own)."""
    total = sum(term for term, _ in terms)
    lost = sum((term / total) ** 2 / freedom for term, freedom in terms) if total else 0.0
    return float(1.0 / lost) if lost else np.inf


def quantile(freedom: float) -> float:
    """Student's t that holds CONFIDENCE on both sides; the normal one for endless freedom."""
    return float(scipy.stats.t.ppf(0.5 + 0.5 * CONFIDENCE, freedom))


def scatter_of(factor: ArrayLike, burn: ArrayLike, weight: ArrayLike, spent: int = 0) -> Scatter:
    """The scatter of vanes' factors (k,), each of a burn by its number and with its weight in the
    fitted mean; weights need not add up to 1. `spent`: degrees of freedom of the burns that went
    into what was fitted to them besides their mean.
    """
    factors = np.asarray(factor, dtype=float)
    share = np.asarray(weight, dtype=float) / np.sum(weight)
    numbers, place = np.unique(np.asarray(burn), return_inverse=True)
    count, burns, vanes = np.bincount(place), len(numbers), len(factors)
    mean = np.bincount(place, factors) / count
    between = within = 0.0
    per_burn = float(vanes)
    if burns > 1:
        squares = float(np.sum(count * (mean - factors.mean()) ** 2))
        between = squares / (burns - 1 - spent)
        per_burn = float(vanes - np.sum(count**2) / vanes) / (burns - 1)
    if vanes > burns:
        within = float(np.sum((factors - mean[place]) ** 2)) / (vanes - burns)
    return Scatter(
        between,
        within,
        burns,
        vanes,
        burns - 1 - spent,
        per_burn,
        float(share @ share),
        float(np.sum(np.bincount(place, share) ** 2)),
    )


def position_p_value(factor: ArrayLike, burn: ArrayLike, vane: ArrayLike) -> float | None:
    """Chance that vane positions which differ no more than by scatter look as these do.

    Analysis of variance with the burn as block: what positions explain beyond the burns, against
    what neither does. None unless two positions or more were burnt twice, and where nothing is left
    to judge by.
    """
    factors, vanes = np.asarray(factor, dtype=float), np.asarray(vane)
    if np.sum(np.unique(vanes, return_counts=True)[1] >= 2) < 2:
        return None
    in_burn = np.asarray(burn)[:, None] == np.unique(burn)
    with_vane = np.column_stack([in_burn, vanes[:, None] == np.unique(vanes)])
    left = []
    for design in (in_burn.astype(float), with_vane.astype(float)):
        fitted, _, rank, _ = np.linalg.lstsq(design, factors, rcond=None)
        left.append((float(np.sum((factors - design @ fitted) ** 2)), len(factors) - int(rank)))
    (blocks, blocks_freedom), (both, freedom) = left
    if freedom < 1 or blocks_freedom == freedom or both <= 1e-12 * float(np.sum(factors**2)):
        return None
    explained = (blocks - both) / (blocks_freedom - freedom)
    return float(scipy.stats.f.sf(explained / (both / freedom), blocks_freedom - freedom, freedom))
