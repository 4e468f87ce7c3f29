"""The demo rendered once for a run of the tests: each of its photos takes most of a second in every worker.

The first that asks for a photo renders it as ever and leaves it beside the run's temporary files for the others.
"""

from __future__ import annotations

import pickle
from collections.abc import Iterator
from functools import cache
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from match.demo.scene.description import Rendering


@pytest.fixture(autouse=True, scope="session")
def demo_rendered_once(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Iterator[None]:
    """Let each worker take from disk what another one rendered."""
    from filelock import FileLock  # here: whoever only hands out the tests runs none

    from match.demo import photos

    own = tmp_path_factory.getbasetemp()
    shared = own if worker_id == "master" else own.parent  # of all workers of this run, and of no other run
    render = photos._rendered

    @cache
    def taken(name: str) -> Rendering:
        file = shared / f"demo-{name}.pickle"
        with FileLock(file.with_suffix(".lock")):
            if not file.exists():
                file.write_bytes(pickle.dumps(render(name)))
            return pickle.loads(file.read_bytes())

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(photos, "_rendered", taken)
        yield
