"""How the compiler treats our kernels: inner ones are no code of their own, tuples pass as one pointer.

As it comes, the compiler optimizes every function with all that it calls, makes machine code of it, and does
so again for each of its callers; and a call passes every number of a tuple, and seven of each array, one by
one. More than half of the time that a march took to compile went there. Libraries of code and passes are the
compiler's own, without a promise: `constraints.txt` pins its version.
"""

import gc
import hashlib
import pickle
import shutil
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
from numba.core import cgutils, ir, types
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase, CompileResult, DefaultPassBuilder
from numba.core.compiler_machinery import FunctionPass, register_pass
from numba.core.datamodel import models
from numba.core.imputils import lower_getattr_generic
from numba.core.serialize import dumps
from numba.core.typing.templates import AttributeTemplate, infer_getattr
from numba.core.untyped_passes import IRProcessing
from numba.extending import intrinsic, register_model

from hpwhsim.io.whole_files import read_whole, write_whole

Record = TypeVar("Record", bound=tuple[Any, ...])

OFF = bool(vars(numba.config)["DISABLE_JIT"])  # kernels run as Python


class _Inside(JITCodeLibrary):
    """Code of a kernel that kernels alone call: kept for them, neither optimized nor made machine code."""

    def finalize(self) -> None:
        """Nothing is left to do."""
        self._finalized = True


class _Whole(JITCodeLibrary):
    """Code that Python calls: all that it uses is put together once, optimized and made machine code."""

    def finalize(self) -> None:
        """Put together every kernel below, each ahead of what it calls: what nothing asks for is left out."""
        seen: set[Any] = set()
        found: list[Any] = []

        def collect(library: Any) -> None:
            for inner in library._linking_libraries:
                if inner not in seen:
                    seen.add(inner)
                    if isinstance(inner, _Inside):
                        collect(inner)
                    found.append(inner)

        collect(self)
        self._linking_libraries = found[::-1]
        cast(Any, super()).finalize()

    def _optimize_final_module(self) -> None:
        """Once: the cheap round before is for counts of references, which our kernels have none of."""
        passes, builder = cast(Any, self._codegen)._module_pass_manager()
        passes.run(self._final_module, builder)


class _LiteralArguments(FunctionPass):
    """A whole number that a caller gives as a constant is one: branches for others are dropped."""

    _name = "literal_arguments"

    def __init__(self) -> None:
        cast(Any, super()).__init__()

    def run_pass(self, state: Any) -> bool:
        """Put constants in place of arguments; whether there were any."""
        changed = False
        for block in state.func_ir.blocks.values():
            for line in block.body:
                if isinstance(line, ir.Assign) and isinstance(line.value, ir.Arg):
                    given = state.args[line.value.index]
                    if isinstance(given, types.IntegerLiteral):
                        line.value = cast(Any, ir.Const)(given.literal_value, line.loc)
                        state.func_ir._definitions[line.target.name] = [line.value]
                        changed = True
        return changed


cast(Any, register_pass)(mutates_CFG=False, analysis_only=False)(_LiteralArguments)


def _passes(state: Any) -> list[Any]:
    passes: Any = cast(Any, DefaultPassBuilder).define_nopython_pipeline(state)
    passes.add_pass_after(_LiteralArguments, IRProcessing)
    passes.finalize()
    return [passes]


class Inside(CompilerBase):
    """Compiles a kernel that kernels alone call."""

    def define_pipelines(self) -> list[Any]:
        """What is done to its text."""
        state: Any = self.state
        state.library = cast(Any, _Inside)(state.targetctx.codegen(), state.func_id.func_qualname)
        state.flags.no_compile = True
        return _passes(state)


class Whole(CompilerBase):
    """Compiles what Python calls."""

    def define_pipelines(self) -> list[Any]:
        """What is done to its text."""
        state: Any = self.state
        state.library = cast(Any, _Whole)(state.targetctx.codegen(), state.func_id.func_qualname)
        state.library.enable_object_caching()
        return _passes(state)

    def compile_extra(self, function: Any) -> Any:
        """Compile without looks for garbage, a tenth of the time: what is made here is kept."""
        looked = gc.isenabled()
        gc.disable()
        try:
            return cast(Any, super()).compile_extra(function)
        finally:
            if looked:
                gc.enable()


class KeptCode:
    """Machine code of a kernel on disk, a file for each signature, in place of the compiler's own cache.

    That one is not proof against a damaged file, whose code it runs. Here a file is whole or as good as not
    there, and one that cannot be written means compiling in every process.
    """

    KEEP = 12  # folders of older sources that stay, so that switching branches does not recompile

    def __init__(self, function: Callable[..., Any], folder: Path) -> None:
        self.function, self.folder = function, folder
        self.what = ""  # what is waited for while it is compiled, for a line on standard error

    def _key(self, signature: Any, codegen: Any) -> tuple[Any, ...]:
        """All that the code depends on besides the sources, of which the folder has its name."""
        cells = tuple(cell.cell_contents for cell in self.function.__closure__ or ())
        versions = numba.__version__, sys.version
        return signature, codegen.magic_tuple(), self.function.__qualname__, cells, versions

    def _place(self, key: tuple[Any, ...]) -> Path:
        digest = hashlib.sha256(str(key).encode()).hexdigest()[:24]
        return self.folder / f"{self.function.__name__}-{digest}.code"

    def load_overload(self, signature: Any, context: Any) -> Any:
        """What was compiled for these types of arguments, or None."""
        context.refresh()
        key = self._key(signature, context.codegen())
        kept = read_whole(self._place(key))
        if kept is not None:
            theirs, payload = pickle.loads(kept)
            if theirs == key:
                return cast(Any, CompileResult)._rebuild(context, *payload)
        self._say(f"compiling {self.what}, once on this machine ...")
        return None

    def save_overload(self, signature: Any, compiled: Any) -> None:
        """Keep what was compiled."""
        key = self._key(signature, compiled.codegen)
        try:
            if not self.folder.is_dir():
                self._make_folder()
            write_whole(self._place(key), cast(Any, dumps)((key, compiled._reduce())))
        except OSError as error:
            self._say(f"{self.folder}: cannot be written: {error.strerror}; every run compiles {self.what}")

    def _make_folder(self) -> None:
        """Make the folder, and remove the oldest of those of other sources."""
        self.folder.mkdir(parents=True, exist_ok=True)
        with suppress(OSError):  # another process does the same
            others = [path for path in self.folder.parent.iterdir() if path != self.folder]
            for old in sorted(others, key=lambda path: path.stat().st_mtime)[: -self.KEEP]:
                shutil.rmtree(old, ignore_errors=True)

    def _say(self, line: str) -> None:
        if self.what:
            print(line, file=sys.stderr, flush=True)


class Reference(types.Type):
    """Type of a named tuple in memory, passed as its place there; its tuples are such themselves."""

    def __init__(self, dtype: Any) -> None:
        self.dtype = dtype
        cast(Any, super()).__init__(name=f"reference({dtype})")


cast(Any, register_model)(Reference)(models.PointerModel)


class _Fields(AttributeTemplate):
    """The type of a field of a tuple in memory."""

    key = Reference

    def _type_of(self, reference: Any, name: str) -> Any:
        """The field's type, or None."""
        whole = reference.dtype
        if name not in whole.fields:
            return None
        found = whole[whole.fields.index(name)]
        return Reference(found) if isinstance(found, types.BaseNamedTuple) else found

    generic_resolve: Any = _type_of


cast(Any, infer_getattr)(_Fields)


def _load(context: Any, builder: Any, reference: Any, place: Any, name: str) -> Any:
    """A field of a tuple in memory."""
    index = reference.dtype.fields.index(name)
    inner = cast(Any, cgutils).gep_inbounds(builder, place, 0, index)
    found = reference.dtype[index]
    if isinstance(found, types.BaseNamedTuple):
        return inner
    return context.data_model_manager[found].load_from_data_pointer(builder, inner)


cast(Any, lower_getattr_generic)(Reference)(_load)


def _by_reference(_: Any, record: Any) -> tuple[Any, Any]:
    """The signature, and what writes the code."""

    def code(context: Any, builder: Any, __: Any, given: Any) -> Any:
        data = context.data_model_manager[record].as_data(builder, given[0])
        place = cast(Any, cgutils).alloca_once(builder, data.type)
        builder.store(data, place)
        return place

    return cast(Any, Reference)(record)(record), code


def _same(record: Record) -> Record:
    return record


by_reference: Callable[[Record], Record] = _same if OFF else cast(Any, intrinsic)(_by_reference)
"""A named tuple as a kernel hands it to others by its place in memory, while it runs itself.

Its fields are read as those of the tuple. None of them may be set, and it may not be returned.
"""
