"""The one error that reaches the user: a line that says what, where, and what to do."""


class LoftbookError(Exception):
    """Something that the user can put right.

    message: one line, without a full stop: what is wrong, where, what to do.
    exit_code: what the command line ends with. 1 could not start, 3 nothing of ours found;
    0, 2 (wrong usage, the command line's own) and 4 (recovered, with losses) are no errors.
    """

    def __init__(self, message, exit_code=1):
        super().__init__(message)
        self.exit_code = exit_code
