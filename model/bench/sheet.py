"""What a technical user would write: all scores of a sheet by NumPy and SciPy, vectorised.

Reads what the bench program wrote (curves, thicknesses, the regression's mean and covariance), scores every ordered pair in every
firing, and writes medians, ends of the 80 % interval, probabilities and needed clearances back. Times the work alone, on one core.
"""
import json
import os
import sys
import time

os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
import numpy as np
from scipy import stats

with open(sys.argv[1]) as f:
    given = json.load(f)
G = 9.80665
LN10 = np.log(10)


def curve_log10(curve, kelvin):
    return curve[..., 0, None] + curve[..., 1, None] / (kelvin - curve[..., 2, None])


def growth(final, limit):
    """Mean over the flow of a length that grows as its square root up to final and stops at limit, of its square and of its cube."""
    stops = final > limit
    t = np.where(stops, (limit / np.maximum(final, 1e-300)) ** 2, 0)
    d1 = np.where(stops, limit * (1 - t / 3), final * 2 / 3)
    d2 = np.where(stops, limit**2 * (1 - t / 2), final**2 / 2)
    d3 = np.where(stops, limit**3 * (1 - t * 3 / 5), final**3 * 2 / 5)
    return d1, d2, d3


def film(under, over, blend, stirring):
    """Drive on an upright wall, the shares of the two layers and of the zone between them, the under layer's part of the zone, and the cubes of
    the drives of the film as a whole and of its over layer alone, with how much each counts."""
    (h1, r1, f1, e1), (h2, r2, f2, e2) = under, over
    half = 2 * np.sqrt(stirring * np.sqrt(e1 * e2) / np.pi)
    u1, u2, u3 = growth(half, h1)
    o1, o2, o3 = growth(half, h2)
    # From the air down: the over layer, then the under one with the over one's thickness a and mass w above it.
    bulk2 = r2 * h2**3 / 3
    a, w = h2, r2 * h2
    low2 = h2 * (r2 * h2) * o1 - (h2 * r2 + r2 * h2) * o2 / 2 + r2 * o3 / 3
    mid2 = bulk2 - low2
    high1 = a * w * u1 + (a * r1 + w) * u2 / 2 + r1 * u3 / 3
    slip_high = w * u1 + r1 * u2 / 2
    bulk1 = a * w * h1 + (a * r1 + w) * h1**2 / 2 + r1 * h1**3 / 3
    slip1 = w * h1 + r1 * h1**2 / 2
    mid1 = bulk1 - high1
    total = h1 + h2
    alone1 = low2 * blend + mid2 * f2
    alone0 = alone1 + mid1 * f1 + high1 * blend
    slip = (slip1 - slip_high) * f1 + slip_high * blend
    carried = alone1 + slip * h2
    whole, part = (alone0 / total) ** 3, carried**2 * alone1 / h2**3
    cut = part > whole
    drive = 3 * G * np.where(cut, np.cbrt(part), alone0 / total)
    # The shares are the mean over both parts, by the 12th power of their drives.
    greatest = np.maximum(part, whole)
    count0, count1 = (whole / greatest) ** 4, (part / greatest) ** 4
    count0, count1 = count0 / (count0 + count1), count1 / (count0 + count1)
    bulk1, slip = count0 / alone0, count1 * (2 / 3) / carried * h2
    bulk2 = bulk1 + count1 * ((2 / 3) / carried + (1 / 3) / alone1)
    share2 = mid2 * f2 * bulk2
    share1 = mid1 * f1 * bulk1 + (slip1 - slip_high) * f1 * slip
    zone = low2 * blend * bulk2 + high1 * blend * bulk1 + slip_high * blend * slip
    return drive, share1, share2, zone, u1 / (u1 + o1), (whole, part), (count0, count1)


def run(drive, band, drip):
    return drip * np.where(drive <= 1.5 * band, drive / 3, band * (np.cbrt(2.25 * drive / band) - 1))


def score(fire):
    n = len(given["glazes"])
    kelvin, seconds = np.array(fire["kelvin"]), np.array(fire["seconds"])
    curve = np.array(fire["curves"])
    fluidity = 10 ** -curve_log10(curve, kelvin)
    flow = fluidity @ seconds
    diffusion = fluidity @ (seconds * kelvin) * (1.380649e-23 / 0.28e-9)
    blend = 10 ** -curve_log10(np.array(fire["blends"]), kelvin) @ seconds
    i, k = np.divmod(np.arange(n * n), n)
    h, rho = np.array(fire["thickness"]), np.array(fire["density"])
    same = i == k
    under, over = (h[i], rho[i], flow[i], diffusion[i]), (h[k], rho[k], flow[k], diffusion[k])
    drive, s1, s2, zone, fraction, cubes, counts = film(under, over, blend, given["stirring"])
    step = 1e-4
    stirred = film(under, over, blend, given["stirring"] * np.exp(step))[5]
    total = h[i] + h[k]
    mean_density = (h[i] * rho[i] + h[k] * rho[k]) / total
    alone = G * rho[i] * total**2 * flow[i]  # of a glaze over itself
    drive = np.where(same, alone, drive)
    stirring = np.where(same, 0, sum(n * np.log(more / x) for n, x, more in zip(counts, cubes, stirred)) / (3 * step))
    s1, s2 = np.where(same, 1, s1 + zone * fraction), np.where(same, 0, s2 + zone * (1 - fraction))
    held = np.array(fire["tension"])[k] * (1 - np.cos(np.pi / 6)) / (mean_density * G * total)
    x = np.log(drive * np.maximum(1 - held / given["band"], 0))
    sd = 2 * np.sqrt((h[i] * given["thickness_sd"]) ** 2 + (h[k] * given["thickness_sd"]) ** 2) / total
    sd = np.where(same, 2 * np.sqrt(2) * given["thickness_sd"] / 2, sd)

    # The regression: eleven fixed effects, two glazes, a pair, a kiln and a tester.
    reference = np.array(fire["reference_log10"])
    order = np.where(same, 0, np.tanh(LN10 * (reference[k] - reference[i]) / 2))
    matte = np.array(fire["matte"])
    one = np.ones(n * n)
    layered = np.where(same, 0.0, 1.0)
    fixed = [one, 0 * one, fire["cone_excess"] * one, np.log(total / 0.5e-3), order, np.abs(order), stirring, layered,
             s1 * matte[i] + s2 * matte[k], fire["ln_cooling"] * one, 0 * one]
    column = np.array(given["column"])
    pair = np.array(given["pair"]).reshape(n, n)[i, k]
    known = column >= 0
    weights = np.stack(fixed + [s1 * known[i], s2 * known[k], (pair >= 0) * layered, one, one], 1)
    index = np.stack([np.full(n * n, e) for e in range(11)] +
                     [column[i], column[k], pair, np.full(n * n, given["kiln"]), np.full(n * n, given["tester"])], 1)
    mean, covariance = np.array(given["mean"]), given["covariance"]
    y = (weights * mean[index]).sum(1)
    variance = np.zeros(n * n)
    for a in range(weights.shape[1]):
        variance += weights[:, a] * (weights * covariance[index[:, a, None], index]).sum(1)
    own = np.array(fire["viscosity_sd"])
    spread = given["spread"]
    missing = (s1**2 * ~known[i]) * (spread["glaze"] ** 2 + own[i] ** 2) + (s2**2 * ~known[k]) * (spread["glaze"] ** 2 + own[k] ** 2)
    missing += np.where(same | (pair >= 0), 0, spread["pair"] ** 2)
    variance += missing
    noise = given["noise"] ** 2 + (given["physics"] * sd) ** 2
    u = variance / (variance + noise)
    knots = np.linspace(0, 1, len(given["inverse_df"]))
    df = 1 / np.maximum(np.interp(u, knots, given["inverse_df"]), 1e-5)
    scale = np.sqrt(np.interp(u, knots, given["scale2"]) * (variance + noise))
    m = x + y
    band, drip = given["band"], given["drip"]
    median = run(np.exp(m), band, drip)
    wide = scale * stats.t.ppf(0.9, df)
    low, high = run(np.exp(m - wide), band, drip), run(np.exp(m + wide), band, drip)
    exceed = stats.t.sf((given["ln_clearance"] - m) / scale, df)
    needed = run(np.exp(m + scale * stats.t.ppf(1 - given["tolerated"], df)), band, drip)
    return np.stack([median, low, high, exceed, needed], 1)


given["covariance"] = np.array(given["covariance"]).reshape(len(given["mean"]), -1)
begin = time.process_time()
scores = np.concatenate([score(fire) for fire in given["firings"]])
took = time.process_time() - begin
scores.astype("<f8").tofile(sys.argv[2])
print(took)
