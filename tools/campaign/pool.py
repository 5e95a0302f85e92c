"""Work for several processes, or for this one."""

from concurrent.futures import ProcessPoolExecutor


def results(run, work, processes):
    """Yield run(item) for each item of work, in order; with one process in this one, so that it can be debugged."""
    if processes == 1:
        yield from map(run, work)
    else:
        with ProcessPoolExecutor(processes) as pool:
            yield from pool.map(run, work)
