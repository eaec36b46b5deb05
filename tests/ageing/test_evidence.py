"""Evidence checks: what each says of a study with one thing wrong, and their algebra by full matrices."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.special import fdtrc

from stability.ageing.added_terms import best_ratio, between_tins, products, search_p, without
from stability.ageing.arrays import BlendReadings, TinHistory
from stability.ageing.evidence import Evidence, EvidenceRules, gather
from stability.ageing.fit import Fit, Limit, fit, fit_many
from stability.ageing.linear import deletions, store_columns, tangent
from tests.ageing.evidence_studies import Study, fleet
from tests.ageing.test_fit import degenerate

DOUBLE = Limit(ratio=2.0)
ALL = {
    "storage_store_present", "temperatures", "tins", "amount", "real_time", "reach", "straight_arrhenius",
    "one_shape", "method_spread", "runs", "lack_of_fit", "dose_clock", "unresolved_step", "leaking_tin",
    "day_bias",
}  # fmt: skip


def fitted(truth: Study, seed: int = 1) -> Fit:
    return fit(fleet(truth, 1, seed)[0], DOUBLE)


def checks(truth: Study, seed: int = 1) -> dict[str, Evidence]:
    return {e.name: e for e in gather(fitted(truth, seed), EvidenceRules(repeatability=truth.noise))}


def test_an_honest_study_with_take_outs_and_days_passes_every_check() -> None:
    found = checks(Study(out_share=0.3))
    assert set(found) == ALL
    assert all(e.passed for e in found.values())
    assert all(e.p is None or 0.0 <= e.p <= 1.0 for e in found.values())


@pytest.mark.parametrize(
    ("truth", "name", "words"),
    [
        (Study(hot_shape=(-1.0, 0.0)), "one_shape", "the curve has another shape at 60 °C"),
        (Study(step=0.06), "unresolved_step", "% higher"),
        (Study(step=-0.06), "unresolved_step", "% lower"),
        (Study(leak=0.6), "leaking_tin", "% faster than the curve of the others"),
        (Study(day_bias=0.03), "day_bias", "readings of one day share a bias of about"),
        (Study(calendar=True, out_share=0.3), "dose_clock", "the calendar, not the temperature"),
        (Study(second_share=0.5, sigma_tin=0.01), "straight_arrhenius", "the coldest store ages faster"),
    ],
    ids=lambda v: v if isinstance(v, str) else "",
)
def test_a_cause_is_told_by_its_own_check(truth: Study, name: str, words: str) -> None:
    found = checks(truth, 3)[name]
    assert not found.passed
    assert found.p is not None
    assert found.p < 0.05
    assert words in found.says


def test_the_day_of_a_step_is_told_by_the_youngest_tin_that_shows_it() -> None:
    found = checks(Study(step=0.08, step_day=59, stagger_days=0), 4)["unresolved_step"]
    assert "tins 84.0 d old and more" in found.says
    assert found.figure == pytest.approx(0.08, abs=0.03)


def test_a_recorded_step_is_none_that_was_not_recorded() -> None:
    found = checks(Study(step=0.08, step_recorded=True), 3)
    assert found["unresolved_step"].passed
    assert found["lack_of_fit"].passed


def test_a_mechanism_that_changes_with_heat_is_no_step() -> None:
    found = [checks(Study(hot_shape=(-1.0, 0.0)), seed)["unresolved_step"] for seed in range(5)]
    assert all(e.passed for e in found)
    assert any("shapes that differ between stores" in e.says for e in found)


def test_the_leaking_tin_is_named() -> None:
    truth = Study(leak=0.8, sigma_tin=0.03)
    f = fitted(truth, 2)
    leaking = f.data.samples[int(np.argmax(f.tin_effects))]
    assert f"tin {leaking} ages" in checks(truth, 2)["leaking_tin"].says


def test_without_take_outs_and_days_their_checks_are_left_out(blend: Callable[..., BlendReadings]) -> None:
    found = {e.name for e in gather(fit(blend(np.random.default_rng(1)), DOUBLE))}
    assert found == ALL - {"dose_clock", "unresolved_step", "day_bias", "method_spread"}


def test_whatever_is_put_in_gives_numbers_or_leaves_the_check_out(tin: Callable[..., TinHistory]) -> None:
    for data in degenerate(tin).values():
        for e in gather(fit(data, DOUBLE), EvidenceRules(repeatability=0.02)):
            assert e.p is None or 0.0 <= e.p <= 1.0
            assert e.figure is None or math.isfinite(e.figure)
            assert "nan" not in e.says.split()


def test_false_alarms_stay_near_the_level() -> None:
    fits = fit_many(fleet(Study(tins=3, out_share=0.3), 40, 31), DOUBLE)
    alarms: dict[str, int] = {}
    for f in fits:
        for e in gather(f, EvidenceRules(repeatability=0.015)):
            alarms[e.name] = alarms.get(e.name, 0) + (e.p is not None and not e.passed)
    # 2 of 40 expected, three standard errors of it above
    assert max(alarms.values()) <= 6


def test_what_tins_share_by_rank_one_is_what_full_matrices_give() -> None:
    f = fitted(Study())
    t = tangent(f)
    z, n = t.by_rate, t.by_rate.size
    stores = store_columns(f, t)
    v = np.eye(n) + 2.5 * (t.tin[:, np.newaxis] == t.tin) * np.outer(z, z)
    inverse = np.linalg.inv(v)

    def left(columns: np.ndarray) -> float:
        solved = np.linalg.pinv(columns.T @ inverse @ columns) @ (columns.T @ inverse @ t.target)
        rest = t.target - columns @ solved
        return float(rest @ inverse @ rest)

    rest = without(products(t, {"stores": stores}), ["base"], 2.5)
    assert rest.left == pytest.approx(left(t.base), rel=1e-6)
    gain, df = rest.gain(np.arange(t.base.shape[1], t.base.shape[1] + stores.shape[1]))
    assert gain == pytest.approx(left(t.base) - left(np.hstack((t.base, stores))), rel=1e-5)
    assert df == 2


def test_an_infinite_ratio_is_a_rate_for_every_tin() -> None:
    f = fitted(Study(out_share=0.3))
    t = tangent(f)
    tins = (t.tin[:, np.newaxis] == np.arange(f.tins)) * t.by_rate[:, np.newaxis]
    days = np.asarray(f.data.session[:, np.newaxis] == np.arange(f.data.session_days.size), dtype=float)
    of = products(t, {"days": days})
    found = without(of, ["base"], math.inf).test(of.sets["days"])
    assert found is not None

    def spanned(columns: np.ndarray, least: float) -> np.ndarray:
        q, values, _ = np.linalg.svd(columns, full_matrices=False)
        return q[:, values > least]

    base = np.hstack((t.base, tins))
    q = spanned(base / np.linalg.norm(base, axis=0), 1e-6)
    unit = days / np.linalg.norm(days, axis=0)
    more = spanned(unit - q @ (q.T @ unit), math.sqrt(1e-3))
    rest = t.target - q @ (q.T @ t.target)
    before, after = float(rest @ rest), float(rest @ rest - ((more.T @ rest) ** 2).sum())
    df, df_left = more.shape[1], t.target.size - q.shape[1] - more.shape[1]
    assert (found.df, found.df_left) == (df, df_left)
    f_value = (before - after) / df / (after / df_left)
    assert found.f == pytest.approx(f_value, rel=1e-4)
    assert found.p == pytest.approx(float(fdtrc(df, df_left, f_value)), rel=1e-3)


def test_what_take_outs_tell_of_the_energy_is_counted_with_the_line() -> None:
    for share, expected in ((0.0, (2, 4)), (0.3, (3, 3))):
        t = tangent(f := fitted(Study(out_share=share)))
        of = products(t, {"stores": store_columns(f, t)})
        rest, within = (
            without(of, ["base"], best_ratio(of, ["base", "stores"])),
            without(of, ["base"], math.inf),
        )
        found = between_tins(rest, within, of.sets["stores"])
        assert found is not None
        assert (found.df, found.df_left) == expected


def test_the_search_over_days_is_paid_for() -> None:
    """The bound on p holds, and is not idle: simulated |t| along a random walk of steps."""
    rng = np.random.default_rng(5)
    n, days = 60, 12
    columns = (np.arange(n)[:, np.newaxis] * days // n >= np.arange(1, days)).astype(float)
    columns -= columns.mean(axis=0)
    cross, size = columns.T @ columns, np.linalg.norm(columns, axis=0)
    p = []
    for _ in range(2000):
        y = rng.standard_normal(n)
        y -= y.mean()
        r = np.abs(columns.T @ y) / size / np.linalg.norm(y)
        t = float(r.max() * math.sqrt(n - 2) / math.sqrt(1.0 - r.max() ** 2))
        p.append(search_p(t, n - 2.0, cross))
    share = float(np.mean(np.array(p) < 0.05))
    assert 0.02 < share < 0.05 + 3 * math.sqrt(0.05 * 0.95 / 2000)


def test_leaving_a_reading_out_is_what_full_matrices_give() -> None:
    f = fitted(Study())
    t, found = tangent(f), deletions(f)
    work = f.workings
    assert work is not None
    v = t.variance * (
        np.eye(t.tin.size) + t.ratio * (t.tin[:, None] == t.tin) * np.outer(t.by_rate, t.by_rate)
    )
    inverse = np.linalg.inv(v)
    weighted = inverse @ t.columns
    normal = t.columns.T @ weighted + np.diag(t.precision)
    projector = inverse - weighted @ np.linalg.solve(normal, weighted.T)
    error = projector @ t.target / np.diagonal(projector)
    assert found.expected == pytest.approx(f.data.ln_viscosity - error, abs=1e-7)
