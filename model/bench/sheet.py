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


def melting(kelvin, own, early, crystals):
    """The parts of a melt's fluidity that a glaze has: as it flows, and by fusion alone."""
    p = given["practice"]
    melted = 1 / (1 + np.exp(-(kelvin - own + p["Fusion"]["Below"] + early) / p["Fusion"]["Width"]))
    stiffer = 1 + (p["Stiffening"] - 1) * np.exp(-(kelvin - CONE6) / p["Fining"])
    left = crystals * np.clip(1 - (kelvin - own) / 60, 0, 1)
    return melted / stiffer * (1 - left / 0.6) ** 1.5, melted


def flux(under, over, blend, zone):
    """Flux over g sinθ of two layers with a zone between them, and the parts of the under layer, the over layer and the zone in it."""
    (h1, r1, f1), (h2, r2, f2) = under, over
    (u1, u2, u3), (o1, o2, o3) = zone
    # From the air down: the over layer, then the under one with the over one's thickness a and mass w above it.
    low2 = h2 * (r2 * h2) * o1 - (h2 * r2 + r2 * h2) * o2 / 2 + r2 * o3 / 3
    mid2 = r2 * h2**3 / 3 - low2
    a, w = h2, r2 * h2
    high1 = a * w * u1 + (a * r1 + w) * u2 / 2 + r1 * u3 / 3
    mid1 = a * w * h1 + (a * r1 + w) * h1**2 / 2 + r1 * h1**3 / 3 - high1
    parts = mid1 * f1, mid2 * f2, (low2 + high1) * blend
    return sum(parts), parts


def film(under, over, blend, stirring):
    """Drive on an upright wall without a layer at the body, the shares of the two layers and of the zone between them, and the under layer's part of the zone."""
    (h1, r1, f1, e1), (h2, r2, f2, e2) = under, over
    half = 2 * np.sqrt(stirring * np.sqrt(e1 * e2) / np.pi)
    u, o = growth(half, h1), growth(half, h2)
    q, parts = flux((h1, r1, f1), (h2, r2, f2), blend, (u, o))
    turned, laid = flux((h2, r2, f2), (h1, r1, f1), blend, (o, u))
    drive = 3 * G * np.cbrt(q**2 * turned) / (h1 + h2)
    share1 = 2 / 3 * parts[0] / q + laid[1] / turned / 3
    share2 = 2 / 3 * parts[1] / q + laid[0] / turned / 3
    return drive, share1, share2, 2 / 3 * parts[2] / q + laid[2] / turned / 3, u[0] / (u[0] + o[0])


def free_run(drive, band):
    return np.where(drive <= 1.5 * band, drive / 3, band * (np.cbrt(2.25 * drive / band) - 1))


def run(drive, bead):
    free, wetted = free_run(drive, given["band"]), given["practice"]["Wetted"]
    return given["drip"] * free * (free + wetted * bead) / (free + bead)


def shown(length, bead):
    """ln of the drive that a run shows, and how much it depends on the bead."""
    band, wetted, s = given["band"], given["practice"]["Wetted"], length / given["drip"]
    b = wetted * bead - s
    free = (-b + np.sqrt(b * b + 4 * s * bead)) / 2
    hangs = bead * (s - wetted * free) / (free * (2 * free + b))
    r = 1 + free / band
    short = free <= band / 2
    return np.log(np.where(short, 3 * free, band * r**3 / 2.25)), hangs * np.where(short, 1, 3 * (r - 1) / r)


CONE6 = 1222 + 273.15


def score(fire):
    n = len(given["glazes"])
    kelvin, seconds = np.array(fire["kelvin"]), np.array(fire["seconds"])
    curve = np.array(fire["curves"])
    own, boron, crystals = given["own_kelvin"], np.array(fire["boron"]), np.array(fire["crystals"])
    early = 150 * (boron - 0.03)
    p = given["practice"]

    def exposed(shift):
        melt = 10 ** -curve_log10(curve, kelvin + shift)
        flowing, melted = melting(kelvin + shift, own, early[:, None], crystals[:, None])
        return melt * flowing @ seconds, melt * melted @ (seconds * (kelvin + shift)) * (1.380649e-23 / 0.28e-9)

    flow, diffusion = exposed(0)
    per_kelvin = np.log(exposed(2)[0] / flow) / 2
    i, k = np.divmod(np.arange(n * n), n)
    # The own cone of a blend is where its melt is as fluid as its parts are at theirs.
    blends = np.array(fire["blends"])
    at_own = curve_log10(curve, np.array([own]))[:, 0]
    blend_own = blends[:, 2] + blends[:, 1] / ((at_own[i] + at_own[k]) / 2 - blends[:, 0])
    flowing, _ = melting(kelvin, np.clip(blend_own, own - 200, own + 200)[:, None], (early[i] + early[k])[:, None] / 2, (crystals[i] + crystals[k])[:, None] / 2)
    blend = 10 ** -curve_log10(blends, kelvin) * flowing @ seconds
    h, rho = np.array(fire["thickness"]), np.array(fire["density"])
    same = i == k
    under, over = (h[i], rho[i], flow[i], diffusion[i]), (h[k], rho[k], flow[k], diffusion[k])
    drive, s1, s2, zone, fraction = film(under, over, blend, p["Stirring"])
    step = 1e-4
    stirred = film(under, over, blend, p["Stirring"] * np.exp(step))[0]
    total = h[i] + h[k]
    alone = G * rho[i] * total**2 * flow[i]  # of a glaze over itself
    stirring = np.where(same, 0, np.log(stirred / drive) / step)
    drive = np.where(same, alone, drive)
    s1, s2 = np.where(same, 1, s1 + zone * fraction), np.where(same, 0, s2 + zone * (1 - fraction))
    mobile = total + p["BodyLayer"] * np.expm1(-total / p["BodyLayer"])
    x = np.log(drive * (mobile / total) ** 2)
    u = 1 - (fire["peak"] - CONE6) / p["Wetting"]["Range"]
    bead = p["Wetting"]["Section"] * ((u + np.hypot(u, 0.2)) / (1 + np.hypot(1, 0.2))) ** 2 / mobile
    sd = 2 * np.sqrt((h[i] * given["thickness_sd"]) ** 2 + (h[k] * given["thickness_sd"]) ** 2) / total
    sd = sd * -total * np.expm1(-total / p["BodyLayer"]) / mobile
    sd = np.hypot(sd, 5 * (s1 * per_kelvin[i] + s2 * per_kelvin[k]))

    # The regression: eleven fixed effects, two glazes, a pair, a kiln and a tester.
    reference = np.array(fire["reference_log10"])
    layered = np.where(same, 0.0, np.clip(2 * (1 - s1**2 - s2**2), 0, 1))
    order = np.where(same, 0, np.tanh(layered * LN10 * (reference[k] - reference[i]) / 2))
    matte = np.array(fire["matte"])
    one = np.ones(n * n)
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
    missing += np.where(same | (pair >= 0), 0, (spread["pair"] * layered) ** 2)
    known2 = variance + missing
    bead_column = given["bead"]
    effect, own2, common = 0.0, spread["bead"] ** 2, np.zeros(n * n)
    if bead_column >= 0:
        effect, own2 = mean[bead_column], covariance[bead_column, bead_column]
        common = (weights * covariance[bead_column][index]).sum(1)
    noise = given["noise"] ** 2 + (given["physics"] * sd) ** 2
    knots = np.linspace(0, 1, len(given["inverse_df"]))

    def predicted(hangs):
        """Centre, scale and degrees of freedom where the drive hangs so much on the bead."""
        v = known2 + hangs * (2 * common + hangs * own2)
        u = v / (v + noise)
        df = 1 / np.maximum(np.interp(u, knots, given["inverse_df"]), 1e-5)
        return x + y + hangs * effect, np.sqrt(np.interp(u, knots, given["scale2"]) * (v + noise)), df

    def quantile(hangs, probability):
        m, scale, df = predicted(hangs)
        return run(np.exp(m + scale * stats.t.ppf(probability, df)), bead)

    def length(probability):
        return quantile(shown(quantile(at_median, probability), bead)[1], probability)

    at_median = shown(quantile(0.0, 0.5), bead)[1]
    limit, hangs = shown(given["clearance"], bead)
    m, scale, df = predicted(hangs)
    exceed = stats.t.sf((limit - m) / scale, df)
    return np.stack([length(0.5), length(0.1), length(0.9), exceed, length(1 - given["tolerated"])], 1)


given["covariance"] = np.array(given["covariance"]).reshape(len(given["mean"]), -1)
begin = time.process_time()
scores = np.concatenate([score(fire) for fire in given["firings"]])
took = time.process_time() - begin
scores.astype("<f8").tofile(sys.argv[2])
print(took)
