"""What a card makes of its last writes when the power goes: cards do not keep order."""

from tools.campaign.power_machine import SECTOR

AT_RISK = 4  # so many writes before a cut may still be in the card's own memory
FATES = ("whole", "absent", "torn", "torn", "garbage")
IN_ORDER, LAST_TORN, ANY_SUBSET = "in order", "last torn", "any subset"
_ERASED = (b"\0", b"\xff")


def after_cut(rng, before, writes, manner):
    """The card after a cut: ({sector: 512 bytes}, writes that did not get there whole).

    before: the card before these writes, which all returned. manner: IN_ORDER, all of them stand there;
    LAST_TORN, the cut fell into the last one; ANY_SUBSET, each of the last AT_RISK is there, absent, torn or
    garbage.
    """
    state = dict(before)
    lost = []
    for index, write in enumerate(writes):
        left = len(writes) - index
        fate = "whole"
        if manner == LAST_TORN and left == 1:
            fate = "torn"
        elif manner == ANY_SUBSET and left <= AT_RISK:
            fate = rng.choice(FATES)
        data = _after(rng, fate, state.get(write.sector), write.data)
        if data != write.data:
            lost.append(write)
        if data is not None:
            state[write.sector] = data
    return state, lost


def _after(rng, fate, old, new):
    # What stands in the sector then; None if nothing was ever there.
    if fate == "whole":
        return new
    if fate == "absent":
        return old
    if fate == "torn":
        end = rng.randrange(1, SECTOR)
        rest = rng.choice(("old", "old", "erased", "garbage"))
        if rest == "old":
            return new[:end] + (old or bytes(SECTOR))[end:]
        if rest == "erased":
            return new[:end] + rng.choice(_ERASED) * (SECTOR - end)
        return new[:end] + rng.randbytes(SECTOR - end)
    return rng.choice((rng.randbytes(SECTOR), rng.choice(_ERASED) * SECTOR))
