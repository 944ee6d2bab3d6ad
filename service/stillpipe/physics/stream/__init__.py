"""A freeze with water moving through it: the flow that still closes, and the freeze until closure.

A stream breaks the symmetry about the jacket's centre, so that the whole length is followed, from
upstream to downstream. The liquid of each slice is mixed; what it gives the ice or the wall goes by
the Nusselt number of its regime. Both the steady channel (:mod:`limit`) and the transient
(:mod:`run`) stand on the same pipe, Nusselt numbers and pressure drop.
"""
