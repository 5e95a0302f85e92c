# Logs values in one way on MicroPython, and prints where each record begins and ends; words of the command line: the
# way, the kind of record, how many. Garbage is collected here, at module level, as late as the heap allows: text needs
# it in the middle of a record, since any of them may find the heap full; the logger does it between two records.

import gc
import sys

gc.disable()
from cost_ways import WAYS, vary  # noqa: E402
from protocol.record import Layout  # noqa: E402

_PROBE = 50  # records that show how much of the heap one takes
_KEPT = 12000  # bytes of the heap that are not used up before garbage is collected

kind = sys.argv[-2]
is_text = sys.argv[-3] != "records"
layout = Layout(kind)
way = WAYS[sys.argv[-3]](kind)
tick = 1000000
gc.collect()
before = gc.mem_alloc()
for i in range(_PROBE):
    vary(layout, i)
    tick += 100
    way.put(layout, tick)
heap = gc.mem_alloc() - before
print("heap", heap)
gc.collect()
turns = max(1, (gc.mem_free() - _KEPT) * _PROBE // max(heap, 1))
count = int(sys.argv[-1])
if turns > count - 30:
    turns = count - 30  # it must be seen once
print("begin")
print("end")
bytes_before = way.card.bytes
is_due = False
for i in range(count):
    vary(layout, i)
    tick += 100
    is_due = is_due or i % turns == turns - 1
    print("begin")
    is_written = way.put(layout, tick)
    if is_due and is_written and is_text:
        gc.collect()
        is_due = False
    print("end")
    if is_due and is_written:
        is_due = False
        print("begin")
        gc.collect()
        print("collected")
print("bytes", way.card.bytes - bytes_before)
print("done")
