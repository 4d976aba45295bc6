"""Work handed to an engine that is there already: a Dask scheduler and its workers.

Dask (``distributed``, the extra ``engine``) does the queueing, the spreading and the trying again
where a worker is lost; called from the main thread.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any, TypeVar

from trainer.errors import SettingsError, TrainerError

_Item = TypeVar("_Item")

#: How long the scheduler is waited for.
ANSWER_S = 10.0


def run_on(
    address: str,
    function: Callable[[_Item], Any],
    items: Iterable[_Item],
    *,
    called: Callable[[_Item], str] = str,
) -> Iterator[tuple[_Item, Any]]:
    """Yield (item, what ``function`` returned) as workers come to their ends.

    In place of a result stands a TrainerError where the engine could not do an item, which is
    ``called`` something in its words. Raises
    SettingsError when the package is not installed or no scheduler answers at ``address``.
    """
    try:
        from distributed import Client, as_completed
    except ImportError:
        raise SettingsError(
            "--engine needs the package distributed, which is not installed. The extra engine was "
            "wanted. Install it with pip install 'backswing-mirror[engine]'."
        ) from None
    try:
        client = Client(address, timeout=ANSWER_S)
    except (OSError, ValueError) as error:
        raise SettingsError(
            f"no Dask scheduler answers at {address} ({error}). The address of one, such as "
            "tcp://10.0.0.5:8786, was wanted. Start one with dask scheduler."
        ) from None
    with client:
        # Not pure: the same clip asked for twice is measured twice.
        running = {client.submit(function, item, pure=False): item for item in items}
        for future in as_completed(running):
            error = future.exception()
            if error is None:
                yield running[future], future.result()
            else:
                yield (
                    running[future],
                    TrainerError(
                        f"the engine did not measure {called(running[future])} "
                        f"({_first_line(error)}). A scheduler and workers with this same program "
                        "installed, its pose model and the same folders were wanted. Look at "
                        "their logs."
                    ),
                )


def _first_line(error: BaseException) -> str:
    """Return what an error says, without the page that some add to it."""
    lines = [line.strip() for line in str(error).splitlines() if line.strip()]
    return f"{type(error).__name__}: {lines[0]}" if lines else type(error).__name__
