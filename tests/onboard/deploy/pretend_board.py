"""A board at the end of a pseudo-terminal: MicroPython's raw REPL, spoken here, over the real unix port.

Source of the protocol: MicroPython documentation, "The raw REPL" and "Raw paste mode".
"""

import os
import pty
import subprocess
import threading
import tty

from onboard.simulator import runners

# Takes pieces of Python, each after a line with its length, and runs them in one namespace, as a board does.
_SERVE = """
import sys
class Machine:
    @staticmethod
    def reset():
        open("was-reset", "w").close()
sys.modules["machine"] = Machine
names = {"__name__": "__main__"}
while True:
    line = sys.stdin.buffer.readline()
    if not line:
        break
    text = sys.stdin.buffer.read(int(line))
    failure = None
    try:
        exec(text, names)
    except Exception as error:
        failure = error
    sys.stdout.write("\\x04")
    if failure is not None:
        sys.print_exception(failure)
    sys.stdout.write("\\x04")
"""


class PretendBoard:
    """A context manager. port: its serial port; folder: Path of its file system.

    prologue: Python that the board has run before; dies_after: pieces of code after which it is unplugged.
    """

    def __init__(self, folder, prologue="", dies_after=None):
        self.folder = folder
        self.folder.mkdir(exist_ok=True)
        self._prologue = prologue
        self._left = dies_after

    def __enter__(self):
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        self._process = subprocess.Popen(
            [*runners.unix_command("8wM"), "-c", _SERVE], cwd=self.folder, stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        )
        self._execute(self._prologue.encode())
        self._thread = threading.Thread(target=self._serve)
        self._thread.start()
        return self

    def __exit__(self, *_):
        os.close(self._slave)  # ends the reading
        self._thread.join()
        self._process.stdin.close()
        self._process.stdout.close()
        self._process.wait()

    def _execute(self, code):
        self._process.stdin.write(b"%d\n%b" % (len(code), code))
        self._process.stdin.flush()
        answer = b""
        while answer.count(b"\x04") < 2:
            answer += self._process.stdout.read(1)
        return answer

    def _serve(self):
        code = b""
        try:
            while True:
                byte = os.read(self._master, 1)
                if byte == b"\x01":
                    os.write(self._master, b"raw REPL; CTRL-B to exit\r\n>")
                    code = b""
                elif byte == b"\x05":  # raw paste: A, Ctrl-A; then as much as the window at once
                    os.read(self._master, 1), os.read(self._master, 1)
                    os.write(self._master, b"R\x01\xff\xff")
                    code = b""
                elif byte == b"\x04":
                    if self._left == 0:
                        break
                    if self._left is not None:
                        self._left -= 1
                    os.write(self._master, b"\x04" + self._execute(code) + b">")
                    code = b""
                else:
                    code += byte
        except OSError:  # nobody holds the other end any more
            pass
        os.close(self._master)
