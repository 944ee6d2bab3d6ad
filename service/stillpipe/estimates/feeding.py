"""How much CO2 goes with the heat that is drawn: capture, the jacket, its leak."""

from dataclasses import fields

import numpy as np

from stillpipe.estimates.sampled import Array, Sampled
from stillpipe.model.freeze_point import FreezePoint
from stillpipe.model.requests import Co2MassRequest, Fed
from stillpipe.physics import co2
from stillpipe.uncertainty.surface import FURTHEST


def feeding(point: FreezePoint) -> Fed:
    """Return how ``point`` is fed; by the defaults where its request does not say."""
    if isinstance(point, Fed):
        return point
    stated = {f.name: getattr(point, f.name) for f in fields(FreezePoint)}
    return Co2MassRequest(**stated).completed()


def per_heat(request: Fed, sampled: Sampled) -> Array:
    """Return the CO2 for each joule that pipe and jacket give, of the draws [kg/J].

    The share that is captured never exceeds 1.
    """
    sample = sampled.sample
    share = sampled.cases.input("capture").at(sample.of("capture")) * request.capture_efficiency
    off = sampled.cases.input("cylinder_temperature")
    known = np.linspace(-FURTHEST, FURTHEST, 9)
    most = co2.CRITICAL - 0.1
    warm = [min(request.cylinder.temperature + float(off.at(z)), most) for z in known]
    cooling = np.interp(sample.of("cylinder_temperature"), known, [co2.cooling(T) for T in warm])
    return np.asarray(1.0 / (cooling * np.minimum(share, 1.0)))


def drawn_by(sampled: Sampled, time: float) -> Array:
    """Return the CO2 that one freeze point has drawn by ``time`` [s], of the draws [kg]."""
    request = feeding(sampled.point)
    heat = sampled.drawn(time) + request.jacket_heat + request.leak_power * time
    return np.asarray(heat * per_heat(request, sampled))
