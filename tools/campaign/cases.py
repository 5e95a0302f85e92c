"""A campaign's cases: from a seed to a damaged source, with all that is known of it."""

from dataclasses import dataclass, field
from functools import lru_cache
from random import Random

from tools.campaign import damage, sources
from tools.campaign.expect import expect
from tools.campaign.image import Image

CASES_A_LOG = 6  # neighbouring seeds share logs: writing one takes longer than ruining it


@dataclass
class Case:
    seed: int
    name: str
    image: Image
    logs: list
    packets: list = field(default_factory=list)

    def expected(self):
        return expect(bytes(self.image.data), self.image.placements, self.logs, self.packets)


@lru_cache(maxsize=2)
def logs_of(seed):
    return sources.some_logs(Random(f"logs {seed}"))


def make_case(seed):
    """The case of a seed: always the same."""
    rng = Random(f"case {seed}")
    logs = logs_of(seed // CASES_A_LOG)
    packets = []
    kind = rng.random()
    if kind < 0.2:
        name = "capture"
        image, packets = sources.capture(rng, logs)
        logs = []
    elif kind < 0.3:
        name = "mixture"
        image, packets = sources.mixture(rng, logs)
    else:
        make = rng.choice(sources.CARDS)
        name = make.__name__
        image = make(rng, logs)
    damage.ruin(rng, image, most=2 if name == "capture" else 4)
    if not len(image):
        image.append(b"\0")
    return Case(seed, name, image, logs, packets)
