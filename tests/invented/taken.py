"""Invented recordings of a jig and of a microphone in a room: sound ones of many kinds, and every fault put into one.

What is played goes through a driver that is worked out line by line in the frequency domain, then through what is wrong
in the order in which it happens: the driver rattles, the room adds its sound and noise, the card rides its gain, its
converter clips, the file is cut or goes through a lossy format. Nothing of what reads recordings is used but the signal
that is played.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from scipy import signal

from invented.sound_card import slower
from xover.files.wav import wav_bytes
from xover.recordings.sweep import SweepPlan, played

SOUND_M_S = 343.0


@dataclass
class Taking:
    """How one recording was taken. All invented.

    Attributes
    ----------
    plan : said to have been played; `truly` was. driver : response (complex) by Hz, of a microphone's recording.
    load : impedance by Hz, of a jig's. beside : what sounds besides, worked out from the driver's own sound.
    after : what is done to the samples, (rng, samples, rate) to samples, before the converter; `filed` after it.
    """

    plan: SweepPlan
    rate_hz: int
    microphone: bool
    gain: float
    noise: float
    driver: Callable = None
    load: Callable = None
    resistor: float = 10.0
    truly: SweepPlan | None = None
    bits: int = 24
    card_bits: int = 24
    room: float = 0.3
    t60_s: float = 0.4
    distance_m: float = 1.0
    ppm: float = 0.0
    hum: float = 0.0
    hum_hz: float = 50.0
    cubic: float = 0.0
    square: float = 0.0
    loop: bool = True
    turned: bool = False
    beside: list = field(default_factory=list)
    after: list = field(default_factory=list)
    filed: list = field(default_factory=list)
    said_hz: int = 0
    lead_s: float = 0.4

    def samples(self, rng):
        """(n, 2) or (n, 1): both inputs."""
        plan = self.truly or self.plan
        rate = plan.rate_hz
        wave = np.concatenate([np.zeros(int(self.lead_s * rate)), played(plan), np.zeros(int(0.6 * rate))])
        wave *= 10 ** (-plan.level_db / 20) * self.gain
        length = 1 << (len(wave) + rate).bit_length()
        f = np.maximum(np.fft.rfftfreq(length, 1 / rate), 0.5)
        card = self._card(rng, f)
        both = (self._heard if self.microphone else self._jig)(rng, wave, f, length, rate)
        both = np.stack(
            [np.fft.irfft(np.fft.rfft(b, length) * c)[: len(wave)] for b, c in zip(both, card, strict=True)], axis=1
        )
        for step in self.after:
            both = step(rng, both, rate)
        if self.ppm:
            both = slower(both, 1 + 1e-6 * self.ppm)
        if self.rate_hz != rate:
            cut = int(np.gcd(self.rate_hz, rate))
            both = signal.resample_poly(both, self.rate_hz // cut, rate // cut, axis=0)
        t = np.arange(len(both)) / self.rate_hz
        for n, share in ((1, 1.0), (2, 0.2), (3, 0.5), (5, 0.2), (7, 0.1)):
            both += self.hum * share * np.sin(2 * np.pi * self.hum_hz * n * t + n)[:, None] * np.array([1.0, 0.5])
        noise = self.noise * (1.0 if not self.microphone else np.array([1.0, 0.05]))
        both += noise * _rumbling(rng, both.shape, self.rate_hz, self.microphone)
        both = np.round(np.clip(both, -1.0, 1.0) * 2.0 ** (self.card_bits - 1)) / 2.0 ** (self.card_bits - 1)
        for step in self.filed:
            both = step(rng, both, self.rate_hz)
        return both if self.loop or not self.microphone else both[:, :1]

    def file(self, rng):
        """The WAV file's bytes."""
        return wav_bytes(np.clip(self.samples(rng), -1, 1), self.said_hz or self.rate_hz, self.bits)

    def _card(self, rng, f):
        """Inputs roll off at a few Hz; one a little unlike the other."""
        corner = rng.uniform(1.0, 6.0)
        one = (1j * f / corner) / (1 + 1j * f / corner)
        return one, one * 10 ** (rng.normal(0, 0.1) / 20)

    def _made(self, wave):
        return wave + self.square * wave**2 / self.gain + self.cubic * wave**3 / self.gain**2

    def _jig(self, rng, wave, f, length, rate):
        """Across both, and across the load. What the driver does besides is a voltage of its own in the circuit."""
        z = self.load(f)
        spectrum = np.fft.rfft(wave, length)
        inside = self.resistor / (z + self.resistor)
        volts = np.fft.irfft(spectrum * (1 - inside))[: len(wave)]
        own = 0.1 * (self._made(wave) - wave)
        for step in self.beside:
            own = own + step(rng, volts, rate)
        return [wave, volts + np.fft.irfft(np.fft.rfft(own, length) * inside)[: len(wave)]]

    def _heard(self, rng, wave, f, length, rate):
        """Direct sound, single reflections, and a tail that dies away; the loop-back is a wire."""
        way = self.distance_m / SOUND_M_S
        sound = np.fft.rfft(self._made(wave), length) * self.driver(f) * (-1 if self.turned else 1)
        own = np.fft.irfft(sound)[: len(wave)]
        for step in self.beside:
            sound = sound + np.fft.rfft(step(rng, own, rate), length)
        t = np.arange(int(1.2 * self.t60_s * rate)) / rate
        tail = rng.standard_normal(len(t)) * 10 ** (-3 * t / self.t60_s)
        tail *= self.room / np.sqrt(np.sum(tail**2))
        path = np.exp(-2j * np.pi * f * way)
        for _ in range(4):
            later = way + rng.uniform(3e-3, 15e-3)
            path += self.room * rng.uniform(0.3, 1.0) * np.exp(-2j * np.pi * f * later)
        path += np.fft.rfft(tail, length) * np.exp(-2j * np.pi * f * (way + 6e-3))
        heard = np.fft.irfft(sound * path)[: len(wave)]
        return [heard * rng.uniform(0.3, 1.0) * self.gain / np.abs(heard).max(), wave]


def _rumbling(rng, shape, rate, room):
    """White noise of a card, or of a room: a rumble that falls with frequency besides."""
    white = rng.standard_normal(shape)
    if not room:
        return white
    f = np.fft.rfftfreq(shape[0], 1 / rate)
    noise = 0.5 * white + np.fft.irfft(np.fft.rfft(white, axis=0) / np.sqrt(1 + f / 100.0)[:, None], shape[0], axis=0)
    # It comes and goes by some decibels within seconds.
    steps = rng.normal(0.0, 1.5, 3 + int(4 * shape[0] / rate))
    swells = np.interp(np.arange(shape[0]) / rate, np.arange(len(steps)) / 4, steps)
    return noise * 10 ** (swells / 20)[:, None]


def a_driver(rng):
    """A band-pass of second order at both ends, with a gentle tilt."""
    kind = rng.integers(4)
    low = (30, 60, 500, 800)[kind] * rng.uniform(0.8, 1.5)
    high = (1500, 16_000, 5000, 24_000)[kind] * rng.uniform(0.8, 1.5)
    q = rng.uniform(0.5, 1.2)

    def response(f):
        s, t = 1j * f / low, 1j * f / high
        return s * s / (s * s + s / q + 1) / (t * t + t / 0.7 + 1) * (f / 1000.0) ** rng_tilt

    rng_tilt = rng.uniform(-0.1, 0.1)
    return response


def a_load(rng):
    """A resonance and a lossy coil."""
    kind = rng.integers(3)
    fs = (35, 80, 1000)[kind] * rng.uniform(0.7, 1.4)
    re, peak, q, k = rng.uniform(3, 7), rng.uniform(8, 50), rng.uniform(2, 6), rng.uniform(0.005, 0.03)

    def impedance(f):
        s, w0 = 2j * np.pi * f, 2 * np.pi * fs
        return re + peak * (s * w0 / q) / (s * s + s * w0 / q + w0**2) + k * s**0.6

    return impedance


def a_sound_one(rng, microphone):
    """As people take them: other rates, levels, rooms, lengths."""
    rate = int(rng.choice([44_100, 48_000, 48_000, 96_000]))
    low = float(rng.choice([20.0, 20.0, 10.0, 200.0]))
    high = float(rng.choice([20_000.0, min(23_000.0, 0.48 * rate)]))
    plan = SweepPlan(rate, low, high, float(rng.choice([2.0, 3.0, 5.0])), float(rng.choice([-3.0, -6.0, -12.0])))
    recorder = int(rng.choice([rate, rate, 44_100 if rate == 48_000 else 48_000]))
    gain = 10 ** (rng.uniform(-20, -4) / 20)
    made = Taking(
        plan,
        recorder,
        microphone,
        gain,
        gain * 10 ** (rng.uniform(-75, -48) / 20) if microphone else 10 ** (rng.uniform(-100, -75) / 20),
        driver=a_driver(rng),
        load=a_load(rng),
        bits=int(rng.choice([16, 24, 24])),
        room=rng.uniform(0.1, 0.6),
        t60_s=rng.uniform(0.15, 0.6),
        distance_m=float(rng.choice([0.05, 0.3, 1.0, 2.0])),
        cubic=rng.uniform(0, 0.02),
        square=rng.uniform(-0.02, 0.02),
        loop=bool(rng.integers(4)),
        ppm=float(rng.choice([0.0, 0.0, rng.uniform(-5, 5)])),
        lead_s=rng.uniform(0.0, 2.0),
        card_bits=int(rng.choice([16, 24])),
    )
    return made


# What goes wrong. Each takes a sound taking and returns one with the fault, at a strength that was drawn.


def clipped(rng, take):
    def clip(_, both, __):
        top = np.abs(both).max(axis=0) * rng.uniform(0.6, 0.95)
        channel = 0 if take.microphone else int(rng.integers(2))
        both[:, channel] = np.clip(both[:, channel], -top[channel], top[channel])
        return both

    return replace(take, filed=[clip])


def silent(rng, take):
    channel = int(rng.integers(2)) if take.loop or not take.microphone else 0

    def mute(_, both, __):
        both[:, channel] = 10 ** (rng.uniform(-110, -80) / 20) * rng.standard_normal(len(both))
        return both

    return replace(take, filed=[mute])


def swapped(_rng, take):
    return replace(take, loop=True, filed=[lambda _, both, __: both[:, ::-1]])


def no_loop(_rng, take):
    """One microphone on both tracks."""
    return replace(take, loop=True, filed=[lambda _, both, __: both[:, [0, 0]] * np.array([1.0, 0.9])])


def wrong_rate(rng, take):
    rate = take.plan.rate_hz
    said = int(rng.choice({44_100: [48_000, 88_200], 48_000: [44_100, 96_000], 96_000: [48_000, 192_000]}[rate]))
    return replace(take, rate_hz=rate, said_hz=said)


def two_clocks(rng, take):
    return replace(take, ppm=float(rng.choice([-1, 1])) * rng.uniform(20, 200))


def hum(rng, take):
    name = float(rng.choice([50.0, 60.0]))
    level = max(3.0 * take.noise, take.gain * 10 ** (rng.uniform(-45, -25) / 20))
    return replace(take, hum=level, hum_hz=name + rng.uniform(-0.05, 0.05))


def noisy(rng, take):
    louder = 10 ** (rng.uniform(-22, 0) / 20)
    gain = min(take.gain, 0.15 / louder)  # it does not clip
    return replace(take, noise=gain * louder, gain=gain)


def cut(where):
    def fault(rng, take):
        plan = take.plan

        def shorten(_, both, rate):
            at = take.lead_s
            middle = plan.start_s + rng.uniform(0.1, 0.9) * plan.sweep_s
            start = {
                "starts-late": rng.uniform(plan.first_marker_s + 0.02, plan.start_s - 0.02),
                "starts in the sweep": middle,
            }
            end = {
                "ends-early": rng.uniform(plan.end_s + 0.05, plan.last_marker_s + 0.02),
                "ends in the sweep": middle,
            }
            a = int((at + start[where]) * rate) if where in start else 0
            b = int((at + end[where]) * rate) if where in end else len(both)
            return both[a:b]

        return replace(take, filed=[shorten])

    return fault


def moving_gain(rng, take):
    step = float(rng.choice([-1, 1])) * rng.uniform(0.6, 6.0)

    def ride(_, both, rate):
        line = np.linspace(-step / 2, step / 2, len(both)) * len(both) / ((take.plan.file_s - 1.5) * rate)
        return 0.7 * both * 10 ** (line / 20)[:, None]

    return replace(take, after=[ride])


def compressor(rng, take):
    """Above a threshold the gain falls, by a detector with attack and release; each channel by itself."""
    ratio, under = rng.uniform(2, 10), rng.uniform(8, 20)
    attack, release = rng.uniform(0.002, 0.05), rng.uniform(0.1, 1.0)

    def press(_, both, rate):
        hop = max(1, rate // 1000)
        out = both.copy()
        for c in range(both.shape[1]):
            level = np.abs(both[: len(both) // hop * hop, c]).reshape(-1, hop).max(axis=1)
            threshold = np.quantile(level, 0.9) * 10 ** (-under / 20)
            state, gains = 0.0, np.empty(len(level))
            up, down = np.exp(-0.001 / attack), np.exp(-0.001 / release)
            for i, v in enumerate(level):
                over = max(0.0, 20 * np.log10(max(v, 1e-9) / threshold)) * (1 - 1 / ratio)
                state = over + (state - over) * (up if over > state else down)
                gains[i] = -state
            line = np.interp(np.arange(len(both)), (np.arange(len(level)) + 0.5) * hop, gains)
            out[:, c] *= 10 ** (line / 20)
        return out

    return replace(take, after=[press])


def gate(rng, take):
    """Below a threshold the gain falls away, after a hold."""
    under, hold, fall = rng.uniform(25, 40), rng.uniform(0.01, 0.05), rng.uniform(0.01, 0.05)

    def shut(_, both, rate):
        hop = max(1, rate // 1000)
        out = both.copy()
        for c in range(both.shape[1]):
            level = np.abs(both[: len(both) // hop * hop, c]).reshape(-1, hop).max(axis=1)
            threshold = level.max() * 10 ** (-under / 20)
            gains, quiet_for, state = np.empty(len(level)), 0.0, 0.0
            for i, v in enumerate(level):
                quiet_for = 0.0 if v > threshold else quiet_for + 0.001
                state = 1.0 if quiet_for < hold else state * np.exp(-0.001 / fall)
                gains[i] = state
            out[:, c] *= np.interp(np.arange(len(both)), (np.arange(len(level)) + 0.5) * hop, gains)
        return out

    return replace(take, after=[shut], noise=take.noise * 0.1)


def lossy(rng, take):
    """Frames of 1024 are coarsened by band, and nothing is kept above the format's edge."""
    edge = float(rng.choice([11_000.0, 15_000.0, 16_000.0, 16_500.0]))

    def coarsen(_, both, rate):
        out = []
        for wave in both.T:
            f, _, table = signal.stft(wave, rate, nperseg=2048)
            table[f > edge] = 0.0
            for a, b in zip(*(np.geomspace(30, edge, 25)[i:][:24] for i in (0, 1)), strict=True):
                rows = (f >= a) & (f < b)
                if rows.any():
                    step = np.abs(table[rows]).max(axis=0) * 0.05 + 1e-12
                    table[rows] = np.round(table[rows] / step) * step
            out.append(signal.istft(table, rate, nperseg=2048)[1][: len(wave)])
        return np.stack(out, axis=1)

    return replace(take, filed=[coarsen])


def other_sweep(rng, take):
    p = take.plan
    other = [
        replace(p, length_s=p.length_s * rng.uniform(1.2, 2.5)),
        replace(p, length_s=p.length_s * rng.uniform(0.5, 0.85)),
        replace(p, low_hz=p.low_hz * rng.uniform(1.5, 3.0)),
        replace(p, high_hz=p.high_hz * rng.uniform(0.4, 0.8)),
    ]
    return replace(take, truly=other[rng.integers(4)])


def inverted(_rng, take):
    return replace(take, turned=True, loop=True)


def rattle(rng, take):
    """A loose part is shaken by the tone, by a resonance of its own, and knocks whenever it swings past a stop."""
    where = rng.uniform(60, 500) if take.plan.low_hz < 100 else rng.uniform(500, 900)
    # In the current only a strong one leaves a trace.
    sharp, loud = rng.uniform(4, 12), 10 ** (rng.uniform(-35, -12) / 20 + 0.5 * (not take.microphone))

    def knock(rng, own, rate):
        f = np.maximum(np.fft.rfftfreq(len(own), 1 / rate), 1.0)
        s = 1j * f / where
        swing = np.fft.irfft(np.fft.rfft(own) * s / (s * s + s / sharp + 1) / sharp, len(own))
        stop = 0.6 * np.abs(swing).max()
        out = np.zeros(len(own))
        for at in np.flatnonzero((swing[1:] > stop) & (swing[:-1] <= stop)):
            size = min(int(rng.uniform(0.001, 0.004) * rate), len(own) - at)
            burst = rng.standard_normal(size) * np.exp(-5 * np.arange(size) / size)
            out[at : at + size] += burst * loud * np.abs(swing).max() * rng.uniform(0.5, 1.0)
        sos = signal.butter(2, [800, min(9000, 0.4 * rate)], "band", fs=rate, output="sos")
        return signal.sosfilt(sos, out)

    return replace(take, beside=[knock])


def rub(rng, take):
    """A coil grazes its gap where its stroke is long: noise as strong as it is fast, beyond a part of its stroke."""
    corner = rng.uniform(40, 120) if take.plan.low_hz < 100 else rng.uniform(400, 800)
    part, loud = rng.uniform(0.4, 0.8), 10 ** (rng.uniform(-35, -12) / 20)

    def graze(rng, own, rate):
        f = np.maximum(np.fft.rfftfreq(len(own), 1 / rate), 1.0)
        s = 1j * f / corner
        stroke = np.fft.irfft(np.fft.rfft(own) / (s * s + s / 0.8 + 1), len(own))
        speed = np.abs(np.gradient(stroke))
        beyond = np.abs(stroke) > part * np.abs(stroke).max()
        level = loud * np.abs(own[beyond]).max() * speed / speed[beyond].max() * beyond
        sos = signal.butter(2, [300, min(12_000, 0.4 * rate)], "band", fs=rate, output="sos")
        return signal.sosfilt(sos, level * rng.standard_normal(len(own)))

    return replace(take, beside=[graze])


def driven_hard(rng, take):
    """A suspension that stiffens with its stroke, stepped through in time: bass alone is bent."""
    corner = rng.uniform(50, 100) if take.plan.low_hz < 100 else rng.uniform(400, 800)
    stiffens = rng.uniform(0.5, 4.0)

    def stiff(_, own, rate):
        w, h = 2 * np.pi * corner, 1.0 / rate
        b, a = signal.butter(2, corner, fs=rate)
        force = signal.lfilter(b, a, own)
        force = force / np.abs(force).max()
        bent, plain = [], []
        for beta, out in ((stiffens, bent), (0.0, plain)):
            x = v = 0.0
            for push in force.tolist():
                v += h * (w * w * (push - x * (1.0 + beta * x * x)) - 1.2 * w * v)
                x += h * v
                out.append(x)
        left = np.array(bent) - np.array(plain)
        return np.gradient(np.gradient(left)) * (rate / w) ** 2 * 0.5 * np.abs(own).max()

    return replace(take, beside=[stiff])


FAULTS = {
    "clipped": (clipped, "both", {"clipped"}),
    "silent": (silent, "both", {"silent"}),
    "swapped": (swapped, "response", {"swapped-channels"}),
    "no loop-back": (no_loop, "response", {"no-loop-back"}),
    "wrong rate": (wrong_rate, "both", {"wrong-rate", "low-rate"}),
    "two clocks": (two_clocks, "both", {"two-clocks"}),
    "hum": (hum, "both", {"hum"}),
    "noisy": (noisy, "both", {"noisy", "hidden-in-noise"}),
    "starts late": (cut("starts-late"), "both", {"starts-late"}),
    "ends early": (cut("ends-early"), "both", {"ends-early"}),
    "starts in the sweep": (cut("starts in the sweep"), "both", {"cut-sweep"}),
    "ends in the sweep": (cut("ends in the sweep"), "both", {"cut-sweep"}),
    "moving gain": (moving_gain, "both", {"moving-gain"}),
    "compressor": (compressor, "response", {"gain-by-level", "moving-gain"}),
    "noise gate": (gate, "response", {"gain-by-level"}),
    "lossy": (lossy, "both", {"band-missing"}),
    "other sweep": (other_sweep, "both", {"other-sweep"}),
    "inverted": (inverted, "response", {"inverted"}),
    "rattle": (rattle, "response", {"rattle"}),
    "rub": (rub, "response", {"rattle"}),
    "rattle, current": (rattle, "jig", {"rattle"}),
    "driven hard": (driven_hard, "response", {"overload"}),
}
"""By name: what puts it in, which command reads it, and by which value it is told."""
