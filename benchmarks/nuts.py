"""The posterior of a calibration beside NUTS of a general-purpose library, on all latents and on the same marginal.

    python benchmarks/nuts.py [--scenario sixty lives] [--draws 2000] [--chains 4] [--seeds 4] [--marginal-draws 1500]

The full latent model is written here once more, in JAX and from the equations of response.py: every batch and every
electrode keeps its own latents, nothing is integrated and nothing approximated. The marginal one is the program's own
density (the same quadrature), its gradient by central differences; what differs there is only how it is sampled.
Needs numpyro and JAX (benchmarks/README.md says how to install them); says so where they are not there.
Seconds are processor time of one process, compiling included for NUTS and not for the program, whose loops are warm.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import sys
import time
from collections.abc import Callable
from typing import Any, TypeAlias

import numpy as np
from posterior import long_run_of
from prior_histories import DESIGNS, plan, simulated
from worlds import LAB

from brinemark.science.amount.calibration import HyperTarget, calibrate
from brinemark.science.amount.compiled import compiled_loops
from brinemark.science.amount.lives import NODES
from brinemark.science.amount.quadrature import adapt
from brinemark.science.amount.scale import closing_spikes, latent_model, scale_of_calibration
from brinemark.science.amount.simulate import draw_batches, simulate_history
from brinemark.science.amount.weights import effective_size, systematic_resample
from brinemark.terms.amounts import Calibration, ElectrodeReadings
from brinemark.terms.arrays import FloatArray
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection

LEVELS = np.array([0.0, 0.0, 0.5, 1.0, 2.0, 8.0])
MEAN_LIMIT, SD_LIMIT = 0.1, 0.1  # of the posterior sd
HELD_K_SD = 0.10
KEPT = 4096
STEP = 1e-4  # of the prior sd, for differences of the marginal density
Value: TypeAlias = dict[str, Any]


def sixty(seed: int) -> ElectrodeReadings:
    """Ten batches of six electrodes read once."""
    rng = np.random.default_rng(seed)
    batches = draw_batches(LAB, [f"B{i}" for i in range(10)], rng)
    return simulate_history(LAB, batches, [LEVELS] * len(batches), rng)


def lives(seed: int) -> ElectrodeReadings:
    """Eight batches of six electrodes with pre-scan and closing spike, from the centre of the priors."""
    rng = np.random.default_rng([seed, 2])
    made = plan(DESIGNS["lives"], 8, rng)
    return simulated(made, made.center, rng)


SCENARIOS = {"sixty": sixty, "lives": lives}


def latent_density(made: Calibration) -> Callable[[], None]:
    """The full latent model of a calibration's readings, for numpyro."""
    import jax.numpy as jnp
    import numpyro
    from numpyro.distributions import Normal

    readings, relative = made.readings, made.signal_ref
    names = [prior.name for prior in made.priors]
    center, sd = np.array([p.center for p in made.priors]), np.array([p.sd for p in made.priors])
    owner = np.unique(np.array(readings.batch), return_inverse=True)[1]
    units, batches = owner.size, int(owner.max()) + 1
    present = readings.level > 0

    def model() -> None:
        theta = center + sd * numpyro.sample("theta", Normal(0.0, 1.0).expand([len(names)]).to_event(1))
        numpyro.deterministic("parameters", theta)
        value = dict(zip(names, theta, strict=True))
        z = numpyro.sample("batches", Normal(0.0, 1.0).expand([3, batches]).to_event(2))[:, owner]
        e = numpyro.sample("electrodes", Normal(0.0, 1.0).expand([3, units]).to_event(2))
        eta = numpyro.sample("dips", Normal(0.0, 1.0).expand([readings.unit.size]).to_event(1))
        log_gain, log_floor, ln_K, cv = _electrodes(made, value, z, e)
        level = readings.level
        for name, part in zip(readings.stocks, readings.stock_part, strict=True):
            level = level + (jnp.exp(value[f"stock_error:{name}"]) - 1.0) * part
        rise = jnp.exp(value["ln_h"]) * (jnp.log(jnp.where(present, level, 1.0)) - ln_K[readings.unit])
        occupied = present / (1.0 + jnp.exp(-rise))
        shift = _shift(made, value, eta)
        mean = jnp.exp(log_gain[readings.unit] + shift) * (jnp.exp(log_floor[readings.unit]) + occupied)
        noise = jnp.exp(jnp.stack([value[f"ln_noise:{name}"] for name in readings.instrument]))[readings.unit]
        scatter = jnp.sqrt((readings.u / relative) ** 2 + noise**2 + (cv * mean) ** 2)
        numpyro.sample("signal", Normal(mean, scatter), obs=readings.signal / relative)

    return model


def _electrodes(made: Calibration, value: Value, z: Any, e: Any) -> tuple[Any, Any, Any, Any]:
    """Log gain, log floor and ln K of each electrode, and the cv of a reading."""
    import jax.numpy as jnp

    readings = made.readings
    share = 1.0 / (1.0 + jnp.exp(-value["logit_share"]))
    total = jnp.exp(value["ln_electrode_sd"])
    zero = jnp.zeros(())
    offset = jnp.stack([value.get(f"instrument_offset:{name}", zero) for name in readings.instrument])
    log_gain = value["ln_gain"] + offset + jnp.exp(value["ln_batch_sd"]) * z[0] + total * jnp.sqrt(1.0 - share) * e[0]
    if "slope" in value:
        log_gain = log_gain + value["slope"] * np.log(readings.covariate / (made.covariate_ref or 1.0))
    floor_scatter = jnp.exp(value["ln_floor_batch_sd"]) * z[2] + jnp.exp(value["ln_floor_sd"]) * e[1]
    own_K = jnp.exp(value["ln_own_K_sd"]) if "ln_own_K_sd" in value else HELD_K_SD
    ln_K = value["ln_K"] + jnp.exp(value["ln_K_sd"]) * z[1] + own_K * e[2]
    return log_gain, value["ln_floor"] + floor_scatter, ln_K, total * jnp.sqrt(share)


def _shift(made: Calibration, value: Value, eta: Any) -> Any:
    """delta + eta of each reading."""
    import jax.numpy as jnp

    dip = made.readings.dip
    if "ln_drift_sd" not in value:
        return jnp.zeros(dip.size)
    spike = closing_spikes(made.readings, made.spike_level)
    later = jnp.where(spike, value.get("spike_shift", 0.0), value.get("dip_drift", 0.0) * np.maximum(dip, 0))
    fixed = jnp.where(dip < 0, value.get("prescan_shift", 0.0), later)
    return fixed + (dip != 0) * jnp.exp(value["ln_drift_sd"]) * eta


def density(made: Calibration) -> HyperTarget:
    """The program's own log density of a calibration."""
    center, sd = np.array([p.center for p in made.priors]), np.array([p.sd for p in made.priors])
    model = latent_model(made.readings, scale_of_calibration(made))
    return HyperTarget(model, center, sd, NODES, adapt(model, center[None]))


def long(made: Calibration, size: int) -> FloatArray:
    """The program's own density by importance sampling with many more draws, (KEPT, P)."""
    run = long_run_of(density(made), size)
    print(f"  long run: {run.points.shape[0]} draws, effective {effective_size(run.weights):.0f}, k {run.k:.2f}")
    return run.points[systematic_resample(run.weights, KEPT, np.random.default_rng(1))]


def marginal_potential(target: HyperTarget) -> Callable[[Any], Any]:
    """Minus the program's own log density, of parameters in prior sd from the prior's centre, with its gradient."""
    import jax

    center, sd = target.center, target.sd
    shifts = np.concatenate([np.zeros((1, sd.size)), STEP * np.eye(sd.size), -STEP * np.eye(sd.size)])

    def value_and_slope(point: FloatArray) -> FloatArray:
        place = np.asarray(point, dtype=float)
        with np.errstate(over="ignore", invalid="ignore"):
            values = -target.near(center + sd * place)(center + sd * (place + shifts))
        up, down = np.split(values[1:], 2)
        return np.append(values[0], (up - down) / (2.0 * STEP))

    def forward(point: Any) -> tuple[Any, Any]:
        found = jax.pure_callback(value_and_slope, jax.ShapeDtypeStruct((sd.size + 1,), float), point)
        return found[0], found[1:]

    potential = jax.custom_vjp(lambda point: forward(point)[0])
    potential.defvjp(forward, lambda slope, upstream: (upstream * slope,))
    found: Callable[[Any], Any] = potential
    return found


def report(what: str, made: Calibration, draws: FloatArray, seconds: float) -> FloatArray:
    """Print health of chains (chains, draws, P), return draws (n, P)."""
    from numpyro.diagnostics import effective_sample_size, split_gelman_rubin

    size, mixing = effective_sample_size(draws), split_gelman_rubin(draws)
    worst = int(np.argmin(size))
    print(
        f"  NUTS, {what}: {draws.shape[0]} chains of {draws.shape[1]}, {seconds:.0f} s; least effective size "
        f"{size[worst]:.0f} ({made.names[worst]}), worst R-hat {mixing.max():.3f}"
    )
    return np.asarray(draws.reshape(-1, draws.shape[-1]))


def full(made: Calibration, chains: int, count: int, seed: int) -> tuple[FloatArray, float]:
    """NUTS on all latents: draws (n, P) of the parameters and seconds."""
    import jax
    from numpyro.infer import MCMC, NUTS

    start = time.process_time()
    kernel = NUTS(latent_density(made), target_accept_prob=0.9)
    run = MCMC(
        kernel, num_warmup=1000, num_samples=count, num_chains=chains, chain_method="sequential", progress_bar=False
    )
    run.run(jax.random.PRNGKey(seed))
    draws = np.asarray(run.get_samples(group_by_chain=True)["parameters"])
    seconds = time.process_time() - start
    return report("all latents", made, draws, seconds), seconds


def marginal(made: Calibration, count: int, seed: int) -> tuple[FloatArray, float]:
    """NUTS on the program's density, one chain: draws (n, P) and seconds. Its metric is the covariance that the
    program found, which spares it the longest part of its own warm-up."""
    import jax
    from numpyro.infer import MCMC, NUTS

    start = time.process_time()
    target = density(made)
    places = (made.draws - target.center) / target.sd
    metric = {"inverse_mass_matrix": np.cov(places.T), "adapt_mass_matrix": False, "dense_mass": True}
    kernel = NUTS(potential_fn=marginal_potential(target), **metric)
    run = MCMC(kernel, num_warmup=50, num_samples=count, progress_bar=False)
    run.run(jax.random.PRNGKey(seed), init_params=places.mean(axis=0))
    draws = target.center + target.sd * np.asarray(run.get_samples(group_by_chain=True))
    seconds = time.process_time() - start
    return report("its density", made, draws, seconds), seconds


def compare(what: str, names: tuple[str, ...], found: list[FloatArray], reference: FloatArray) -> bool:
    """Print errors of means [posterior sd] and of sds of several runs; True when the median run keeps the limits."""
    mean, sd = reference.mean(axis=0), reference.std(axis=0)
    off = np.array([(draws.mean(axis=0) - mean) / sd for draws in found])
    ratio = np.array([draws.std(axis=0) / sd for draws in found])
    print(
        f"  {what}, {len(found)} run{'s' if len(found) > 1 else ''}; mean [posterior sd], ratio of sds (mean over runs)"
    )
    for i, name in enumerate(names):
        print(f"    {name:<28}{off[:, i].mean():>+8.3f}{ratio[:, i].mean():>8.3f}")
    worst_mean, worst_sd = np.abs(off).max(axis=1), np.abs(ratio - 1.0).max(axis=1)
    met = bool(np.median(worst_mean) <= MEAN_LIMIT and np.median(worst_sd) <= SD_LIMIT)
    print(
        f"    worst parameter of the median run: mean {np.median(worst_mean):.3f} sd, sd {np.median(worst_sd):.1%}: "
        f"{'met' if met else 'MISSED'} (limits {MEAN_LIMIT:g}, {SD_LIMIT:.0%})",
        flush=True,
    )
    return met


def scenario(name: str, given: argparse.Namespace) -> bool:
    """One scenario: the program's runs, both NUTS, agreement and ratios."""
    readings = SCENARIOS[name](given.seed)
    print(f"\n== {name}: {len(readings.electrode)} electrodes, {readings.signal.size} readings")
    runs, seconds = [], []
    with compiled_loops():
        _calibrated(readings, 0)
        for seed in range(given.seeds):
            start = time.process_time()
            runs.append(_calibrated(readings, seed + 1))
            seconds.append(time.process_time() - start)
        own, made = float(np.median(seconds)), runs[0]
        print(f"  the program: median {own:.1f} s, {made.total_draws} draws", flush=True)
        latent, latent_seconds = full(made, given.chains, given.draws, given.seed)
        met = compare("the program against NUTS on all latents", made.names, [r.draws for r in runs], latent)
        print(f"    NUTS on all latents took {latent_seconds / own:.0f} times as long")
        if given.long:
            compare(
                "its density in a long run against NUTS on all latents", made.names, [long(made, given.long)], latent
            )
        if given.marginal_draws:
            same, same_seconds = marginal(made, given.marginal_draws, given.seed)
            compare("its density by NUTS against NUTS on all latents", made.names, [same], latent)
            print(f"    NUTS on its density took {same_seconds / own:.0f} times as long as the program")
    return met


def _calibrated(readings: ElectrodeReadings, seed: int) -> Calibration:
    return calibrate(readings, AnalyteSection(), PriorSection(), CalibrationSection(seed=seed, draws=KEPT))


def main() -> int:
    """Exit status 0 when means and sds agree with NUTS on all latents, or when the library is not there."""
    parser = argparse.ArgumentParser(description="The posterior beside NUTS of a general-purpose library.")
    parser.add_argument("--scenario", choices=SCENARIOS, nargs="+", default=["sixty"])
    parser.add_argument("--draws", type=int, default=2000)
    parser.add_argument("--chains", type=int, default=4)
    parser.add_argument("--seeds", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--long", type=int, default=16384, help="draws of the long run's last round, 0 = none")
    parser.add_argument("--marginal-draws", type=int, default=1500, help="0 leaves NUTS on the program's density out")
    given = parser.parse_args()
    if importlib.util.find_spec("numpyro") is None:
        print("numpyro is not installed: nothing to compare with (benchmarks/README.md says how)")
        return 0
    os.environ.setdefault("XLA_FLAGS", "--xla_cpu_multi_thread_eigen=false intra_op_parallelism_threads=1")
    import jax

    jax.config.update("jax_enable_x64", True)
    met = [scenario(name, given) for name in given.scenario]
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())
