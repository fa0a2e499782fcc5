"""How far the nested quadrature of the marginal likelihood is from a dense rule, and what it costs.

    python benchmarks/quadrature.py [--vectors 9] [--seed 1] [--group-dense 11] [--unit-dense 41]

Ten batches of six simulated electrodes; parameter vectors scattered around the truth about as widely as a posterior.
"shared": points that all nodes of a batch share (shared_points.py). The dense rule is itself shown against a denser
one. Seconds are medians of three runs, nodes' adaptation included.
"""

from __future__ import annotations

import argparse
import sys
import time
from statistics import median

import numpy as np
from worlds import HISTORY_BATCHES, LAB, NEW_BATCH

from brinemark.science.amount.lives import NODES
from brinemark.science.amount.quadrature import LatentModel, Nodes, log_marginal
from brinemark.science.amount.scale import latent_model, scale_of_data
from brinemark.science.amount.simulate import draw_batches, simulate_history
from brinemark.terms.arrays import FloatArray

RULES = (Nodes(3), NODES, Nodes((3, 4, 3), 7), Nodes((4, 4, 3)), Nodes(5), Nodes(7))
DEFAULT_LIMIT = 1e-3  # of the log marginal: a hundredth of what would move a posterior by a tenth of its sd
LEVELS = np.array([0.0, 0.0, 0.5, 1.0, 2.0, 8.0])
# Spread of ln_gain, ln_K, ln_h, ln_floor, ln_batch_sd, ln_electrode_sd, ln_K_sd, logit_share, ln_floor_sd,
# ln_floor_batch_sd, ln_noise, slope.
SPREAD = np.array([0.1, 0.2, 0.1, 0.1, 0.2, 0.15, 0.3, 0.5, 0.3, 0.3, 0.4, 0.1])
FLOOR_SD = 0.1  # the simulated floors do not differ; the model looks about here


def sixty_electrodes(seed: int) -> tuple[LatentModel, FloatArray]:
    """Ten batches of six simulated electrodes, and the true parameters (12,) on the scale of the data."""
    rng = np.random.default_rng(seed)
    batches = draw_batches(LAB, [*(f"B{i}" for i in range(HISTORY_BATCHES)), NEW_BATCH], rng)
    readings = simulate_history(LAB, batches, [LEVELS] * len(batches), rng)
    scale = scale_of_data(readings)
    own, share = np.hypot(LAB.electrode_sd, LAB.cv), LAB.cv**2 / (LAB.electrode_sd**2 + LAB.cv**2)
    gain = -np.log(scale.signal_ref) + LAB.slope * np.log(scale.covariates.reference_of("") or 1.0)
    logs = [np.log(v) for v in (LAB.h, LAB.floor, LAB.batch_sd, own, LAB.ln_K_sd)]
    floors = [np.log(FLOOR_SD)] * 2
    noise = np.log(LAB.noise / scale.signal_ref)
    truth = [gain, LAB.ln_K, *logs, np.log(share / (1 - share)), *floors, noise, LAB.slope]
    return latent_model(readings, scale), np.array(truth)


def timed(model: LatentModel, parameters: FloatArray, nodes: Nodes, runs: int = 3) -> tuple[FloatArray, float]:
    """Log marginals (D,) and the median seconds."""
    seconds = []
    for _ in range(runs):
        start = time.perf_counter()
        values = log_marginal(model, parameters, nodes)
        seconds.append(time.perf_counter() - start)
    return values, median(seconds)


def main() -> int:
    """Exit status 0 when the product's rule stays within the limit."""
    parser = argparse.ArgumentParser(description="Quadrature of the marginal likelihood against a dense rule.")
    parser.add_argument("--vectors", type=int, default=9)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--group-dense", type=int, default=11)
    parser.add_argument("--unit-dense", type=int, default=41)
    given = parser.parse_args()
    model, truth = sixty_electrodes(given.seed)
    rng = np.random.default_rng([given.seed, 1])
    vectors = (
        truth + np.concatenate([np.zeros((1, truth.size)), rng.normal(size=(given.vectors - 1, truth.size))]) * SPREAD
    )
    dense_rule = Nodes(given.group_dense, given.unit_dense)
    dense, dense_s = timed(model, vectors, dense_rule, 1)
    denser, _ = timed(model, vectors[:3], Nodes(given.group_dense + 4, given.unit_dense + 20), 1)
    print(f"60 electrodes, {given.vectors} parameter vectors, seed {given.seed}")
    print(f"{'nodes (batch, electrode)':<32}{'worst error of ln L':>20}{'seconds':>10}{'of the dense rule':>20}")
    worst = {}
    for nodes in RULES:
        values, seconds = timed(model, vectors, nodes)
        worst[nodes] = float(np.abs(values - dense).max())
        label = f"({nodes.group}, {nodes.unit or 'shared'})" + (" product" if nodes == NODES else "")
        print(f"{label:<32}{worst[nodes]:>20.1e}{seconds:>10.3f}{seconds / dense_s:>20.4f}")
    print(f"({dense_rule.group}, {dense_rule.unit}) dense".ljust(32) + f"{'':>20}{dense_s:>10.3f}{1:>20.4f}")
    print(f"dense rule against a denser one: {np.abs(dense[:3] - denser).max():.1e}")
    met = worst[NODES] <= DEFAULT_LIMIT
    print(f"{'met' if met else 'MISSED'}: the product's rule within {DEFAULT_LIMIT:g}")
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
