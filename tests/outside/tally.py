"""What was checked: a line each, and how many passed."""

import contextlib
import time
import traceback


class Tally:
    """Prints a line for each check and counts them."""

    def __init__(self):
        self.passed = 0
        self.failed = 0
        self._last = time.monotonic()

    def check(self, holds, what):
        """Prints `what`, which says what was measured, by whom, and what it may be."""
        now = time.monotonic()
        took, self._last = now - self._last, now
        if holds:
            self.passed += 1
        else:
            self.failed += 1
        print(f"{'ok' if holds else 'FAILED'} {what} ({took:.1f} s)", flush=True)

    @contextlib.contextmanager
    def part(self, name):
        """Checks that belong together: an error in one of them fails the part, not the whole."""
        try:
            yield
        except Exception:  # Whatever it is, the parts after it can still be checked.
            self.check(False, f"{name}: could not be checked to the end")
            traceback.print_exc()

    def close(self):
        """Prints the count; gives the exit code."""
        print(f"{self.passed} passed, {self.failed} failed")
        return 1 if self.failed or not self.passed else 0
