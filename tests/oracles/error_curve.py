"""How often the rule of the error curve passes a source that is off at one power alone, written apart
from the library after the formulas in src/analysis/error_curve and src/stats/curve.rs.

    python error_curve.py [RIDES [SEED]]        (numpy 2, scipy 1; 20 000 rides, seed 710001)

Scatter 0.35 % a block, two references rectangular within 1 %, claim 2 %. Printed: % of rides that pass,
and in brackets those that pass block by block. The check values first are those of the unit tests.
"""

import sys

import numpy as np
from scipy.stats import norm

TAUS = np.array([0, 0.1, 0.2, 0.3, 0.45, 0.7, 1, 1.5, 2.2, 3.3])
TAU_SHARES = np.array(
    [0.10876, 0.19576, 0.15058, 0.13594, 0.13385, 0.09282, 0.07184, 0.05019, 0.03574, 0.02451]
)
SHAPES = [(0.0, 0.25), (0.5, 3 / 16), (1.0, 3 / 16), (2.0, 3 / 16), (4.0, 3 / 16)]
SHARED = 1 / np.sqrt(6)


def basis(power, low, high):
    z = np.log(power / np.sqrt(low * high)) / (0.5 * np.log(high / low))
    return z, z * z - 1 / 3


class Rule:
    def __init__(self, power, scatter):
        power, self.scatter = np.asarray(power, float), np.asarray(scatter, float)
        low, high, m = power.min(), power.max(), len(power)
        z, bend = basis(power, low, high)
        z_grid, bend_grid = basis(np.exp(np.linspace(np.log(low), np.log(high), 13)), low, high)
        self.nodes = []
        for omega, shape_share in SHAPES:
            for tau, tau_share in zip(TAUS, TAU_SHARES):
                curve = omega**2 * np.outer(z, z) + (omega / 2) ** 2 * np.outer(bend, bend)
                inverse = np.linalg.inv(curve + np.diag(self.scatter**2 + tau**2))
                ones = inverse.sum(1)
                total = ones.sum()
                about = inverse - np.outer(ones, ones) / total
                along = omega**2 * np.outer(z_grid, z) + (omega / 2) ** 2 * np.outer(bend_grid, bend)
                to = np.vstack([along, curve + tau**2 * np.eye(m)])
                own = omega**2 * z_grid**2 + (omega / 2) ** 2 * bend_grid**2
                own = np.r_[own, np.diag(curve) + tau**2]
                weights = np.outer(1 - to @ ones, ones) / total + to @ inverse
                variance = own - np.einsum("ij,jk,ik->i", to, inverse, to)
                variance += (1 - to @ ones) ** 2 / total + SHARED**2
                prior = np.log(shape_share * tau_share) + 0.5 * np.linalg.slogdet(inverse)[1]
                self.nodes.append((prior - 0.5 * np.log(total), about, weights, np.sqrt(variance)))
        flat = 4 * np.outer(z, z) + np.outer(bend, bend) + np.diag(self.scatter**2)
        inverse = np.linalg.inv(flat)
        ones = inverse.sum(1)
        about = inverse - np.outer(ones, ones) / ones.sum()
        self.departure = about / np.sqrt(np.diag(about))[:, None]

    def below(self, bias, at):
        logs = [p - 0.5 * np.einsum("ij,jk,ik->i", bias, q, bias) for p, q, _, _ in self.nodes]
        share = np.exp(np.stack(logs) - np.max(logs, axis=0))
        share /= share.sum(0)
        parts = zip(share, self.nodes)
        return sum(s[:, None] * norm.cdf((at - bias @ w.T) / sd) for s, (_, _, w, sd) in parts)

    def passes(self, bias, limit=2.0, stands_alone_at=1.0):
        u = np.hypot(self.scatter, SHARED)
        alone = (np.abs(bias) + 1.96 * u <= limit).all(1)
        within = (1 - self.below(bias, limit) <= 0.025) & (self.below(bias, -limit) <= 0.025)
        departs = np.abs(bias @ self.departure.T) / stands_alone_at
        guard = 1.96 * np.minimum(1, departs)
        if bias.shape[1] == 3:
            guard = np.maximum(guard, 1.85)
        guarded = (np.abs(bias) + guard * u <= limit).all(1)
        return alone | (within.all(1) & guarded), alone


def main():
    rides = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    random = np.random.default_rng(int(sys.argv[2]) if len(sys.argv) > 2 else 710_001)
    check = Rule([120, 180, 240, 300], [0.40, 0.35, 0.33, 0.30])
    for bias in ([0.95, 0.70, 0.80, 0.75], [0.4, 0.3, 1.6, 0.2]):
        print("departures", np.array(bias) @ check.departure.T, check.passes(np.array([bias]))[0])
    for power in ([120, 180, 240, 300], [120, 210, 300], list(range(100, 311, 30))):
        rule = Rule(power, [0.35] * len(power))
        for others in (0.0, 0.6, 1.0, 1.3):
            print(f"{len(power)} blocks, others at {others}, each power at 2.0 in turn:", end="")
            for at in range(len(power)):
                truth = np.full(len(power), others)
                truth[at] = 2.0
                shared = 0.5 * random.uniform(-1, 1, (rides, 2)).sum(1)
                bias = truth + shared[:, None] + 0.35 * random.standard_normal((rides, len(power)))
                together, alone = rule.passes(bias)
                print(f" {100 * together.mean():.2f} ({100 * alone.mean():.2f})", end="")
            print()


if __name__ == "__main__":
    main()
