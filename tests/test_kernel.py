"""The compiler's wrapper: compiled code is never stale, and lets other threads run."""

import os
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

import hpwhsim
from hpwhsim import compiler, kernel
from hpwhsim.io import disk_cache

pytestmark = pytest.mark.contract

CALLED = "from hpwhsim.kernel import kernel\n\n\n@kernel\ndef step(x: float) -> float:\n    return x + {}\n"
CALLER = """from hpwhsim.called import step
from hpwhsim.kernel import kernel


@kernel
def twice(x: float) -> float:
    return step(step(x))


print(twice(0.0))
"""


@pytest.mark.slow
@pytest.mark.year
def test_an_edit_in_another_file_is_seen(tmp_path: Path) -> None:
    """A caller is cached, the function it calls in another file changes: the new value must come out.

    The compiler's own cache looks at the caller's file alone and would give the old value.
    """
    package = tmp_path / "hpwhsim"
    (package / "io").mkdir(parents=True)
    for name in (
        "__init__.py",
        "compiler.py",
        "kernel.py",
        "io/__init__.py",
        "io/disk_cache.py",
        "io/whole_files.py",
        "last_digits.py",
    ):
        shutil.copy(Path(hpwhsim.__file__).parent / name, package / name)
    (package / "caller.py").write_text(CALLER)
    found = []
    for value in ("1.0", "1.0", "5.0"):
        (package / "called.py").write_text(CALLED.format(value))
        environment = os.environ | {"XDG_CACHE_HOME": str(tmp_path / "cache"), "PYTHONPATH": str(tmp_path)}
        command = [sys.executable, "-c", "import hpwhsim.caller"]
        done = subprocess.run(
            command, capture_output=True, text=True, env=environment, cwd=tmp_path, check=True
        )
        found.append(float(done.stdout))
    assert found == [2.0, 2.0, 10.0]
    assert len(list((tmp_path / "cache" / "tankyear" / "compiled" / "caller").iterdir())) == 2


@kernel.kernel
def wait_for(flag: NDArray[np.int64], count: int, passes: int) -> bool:
    """Whether flag[0] was set by somebody else within so many looks; counts them in flag[count].

    The compiler does not know that `count` is not 0, so it has to look each time.
    """
    for _ in range(passes):
        if flag[0] != 0:
            return True
        flag[count] += 1
    return False


def test_other_threads_run_beside_compiled_code() -> None:
    """A flag set in this thread is seen by code that loops in another.

    Code that kept the interpreter to itself would look in vain to its end. Two thousand million looks take
    seconds, and other threads get their turn within milliseconds.
    """
    wait_for(np.zeros(2, dtype=np.int64), 1, 1)  # compiled before
    flag = np.zeros(2, dtype=np.int64)
    with ThreadPoolExecutor(1) as pool:
        seen = pool.submit(wait_for, flag, 1, 2_000_000_000)
        flag[0] = 1
        assert seen.result()


def test_hash_covers_every_source_file() -> None:
    """16 hex digits, and another for another package."""
    assert len(kernel.sources_hash()) == 16
    int(kernel.sources_hash(), 16)


def test_a_module_is_hashed_with_all_that_it_imports(monkeypatch: pytest.MonkeyPatch) -> None:
    """An edit of the store reaches the march and not the heat pump's map; one of a report reaches neither."""
    texts = disk_cache._texts()

    def hashes(edited: str) -> tuple[str, str, str]:
        changed = {n: t + b"\n# edited" if n == edited else t for n, t in texts.items()}
        monkeypatch.setattr(disk_cache, "_texts", lambda: changed)
        of = disk_cache.sources_hash_of.__wrapped__
        return of("plant.march"), of("storage.layers"), of("heatpump.maps")

    now, stored, reported = hashes(""), hashes("storage.layers"), hashes("cli")
    assert [a == b for a, b in zip(now, stored, strict=True)] == [False, False, True]
    assert now == reported


def test_old_caches_are_pruned(tmp_path: Path) -> None:
    """Only the folder in use and the newest few stay."""
    keep = compiler.KeptCode.KEEP
    for i in range(keep + 3):
        old = tmp_path / f"{i:016x}"
        old.mkdir(parents=True)
        os.utime(old, (i, i))
    compiler.KeptCode(str, tmp_path / "in-use")._make_folder()
    left = sorted(p.name for p in tmp_path.iterdir())
    assert left == [*(f"{i:016x}" for i in range(3, keep + 3)), "in-use"]


@kernel.kernel
def made(cells: int) -> float:
    """A kernel that makes an array, against the rule."""
    return float(np.zeros(cells).sum())


def test_a_kernel_that_makes_an_array_does_not_compile() -> None:
    """Without it nobody would notice that such an array is never given back."""
    with pytest.raises(Exception, match="Only accept returning of array passed"):
        made(3)


@kernel.kernel
def half(x: float) -> float:
    """Half of it."""
    return 0.5 * x


@kernel.kernel_apart
def quarter(x: float) -> float:
    """A quarter of it."""
    return half(half(x))


@pytest.mark.skipif(
    bool(os.environ.get("NUMBA_DISABLE_JIT")), reason="then they are functions like any other"
)
def test_a_kernel_has_a_way_in_when_python_calls_it() -> None:
    """Before and after a kernel compiled it: never a jump to code that is not there."""
    for _ in range(2):
        assert half(1.0) == 0.5
        assert quarter(1.0) == 0.25
        assert half(x=3) == 1.5  # another type, by its name
