"""The only place that writes results: whole or not at all, same input same bytes."""

import contextlib
import hashlib
import json
import os
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from ..errors import SettingsError

try:
    import fcntl
except ImportError:  # a system without file locks of this kind
    fcntl = None  # type: ignore[assignment]

_PART = ".part"
FEW_TEXTS = 100_000
_LETTERS = {
    "f": pa.types.is_floating,
    "i": pa.types.is_signed_integer,
    "u": pa.types.is_unsigned_integer,
    "M": pa.types.is_timestamp,
}  # numpy's, by Arrow's types


def sha256_of(data):
    """Return the SHA-256 of bytes, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def sha256_file(path):
    """Return (size in bytes, SHA-256) of a file."""
    digest = hashlib.sha256()
    size = 0
    with Path(path).open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
            size += len(block)
    return size, digest.hexdigest()


@contextlib.contextmanager
def whole_file(path):
    """Give a hidden neighbour, open for writing, that takes the name only when all went well.

    What it holds is forced to the disk before it is renamed; after any exception it is deleted.

    Raises
    ------
    SettingsError
        Where the folder cannot be written to.
    """
    path = Path(path)
    part = path.with_name(f".{path.name}.{os.getpid()}{_PART}")
    try:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with part.open("w+b") as file:
                yield file
                file.flush()
                os.fsync(file.fileno())
            part.replace(path)
            _force_folder(path.parent)
        finally:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
    except OSError as problem:
        raise SettingsError(f"{path}: cannot be written: {problem.strerror}") from None


def write_bytes(path, data):
    """Write a file so that its name never holds anything but all of ``data``.

    The bytes go to a hidden neighbour, are forced to the disk, and the neighbour is renamed.

    Raises
    ------
    SettingsError
        Where the folder cannot be written to.
    """
    with whole_file(path) as file:
        file.write(data)


def _force_folder(folder):
    """Force the rename itself to the disk, where the system lets a folder be opened."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        with contextlib.suppress(OSError):
            os.fsync(handle)
    finally:
        os.close(handle)


def write_text(path, text):
    """Write text as UTF-8, whole or not at all."""
    write_bytes(path, text.encode("utf-8"))


def json_text(content):
    """Return JSON as written everywhere: sorted, indented, NaN as null."""
    return json.dumps(_plain(content), indent=2, sort_keys=True, ensure_ascii=False) + "\n"


def _plain(value):
    """Return a value made of plain Python parts; a NaN, which JSON has not, becomes None."""
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set):
        return [_plain(item) for item in value]
    if hasattr(value, "tolist"):
        return _plain(value.tolist())
    if isinstance(value, float) and value not in (float("inf"), float("-inf")):
        return None if value != value else value
    return value if isinstance(value, str | int | bool | type(None)) else str(value)


def write_json(path, content):
    """Write JSON, whole or not at all."""
    write_text(path, json_text(content))


def parquet_bytes(columns, units, metadata):
    """Return a Parquet file as bytes.

    Parameters
    ----------
    columns : dict of str to array
    units : dict of str to str
        Unit of each column, kept with the column.
    metadata : dict
        Frame, epoch, provenance...; kept as JSON text under the key ``stakeline``.
    """
    arrays = [pa.array(values) for values in columns.values()]
    fields = [
        pa.field(name, array.type, metadata={"unit": units.get(name, "")})
        for name, array in zip(columns, arrays, strict=True)
    ]
    schema = pa.schema(fields, metadata={"stakeline": json_text(metadata)})
    sink = pa.BufferOutputStream()
    table = pa.Table.from_arrays(arrays, schema=schema)
    pq.write_table(table, sink, compression="zstd", write_statistics=True)
    return sink.getvalue().to_pybytes()


def read_table(path, names=None):
    """Return (dict of columns, metadata) of a Parquet file written by the store.

    Parameters
    ----------
    path : path
    names : sequence of str, optional
        Columns that are read; those that the file has not are left out. All where not given.

    Raises
    ------
    SettingsError
        Where the file cannot be read.
    """
    try:
        with pq.ParquetFile(path) as file:  # pq.read_table would load much that is not needed
            if names is not None:
                names = [name for name in file.schema_arrow.names if name in names]
            table = file.read(columns=names, use_threads=False)
    except (OSError, pa.ArrowException) as problem:
        raise SettingsError(f"{path}: is no readable Parquet file: {problem}") from None
    columns = {name: _values(table.column(name)) for name in table.column_names}
    text = (table.schema.metadata or {}).get(b"stakeline", b"{}")
    return columns, json.loads(text)


def _values(column):
    """Return a column as an array.

    Arrow's own way loads pandas wherever that is installed, which takes half a second; numbers and
    times without gaps are their buffers, and few texts are soon made.
    """
    kind = column.type
    letter = next((letter for letter, is_of in _LETTERS.items() if is_of(kind)), "")
    if letter and not column.null_count:
        unit = f"[{kind.unit}]" if letter == "M" else ""
        dtype = np.dtype(f"{letter}{kind.bit_width // 8}{unit}")
        parts = [np.frombuffer(part.buffers()[1], dtype, len(part), part.offset * dtype.itemsize)
                 for part in column.chunks if len(part)]  # fmt: skip
        return np.concatenate(parts) if parts else np.empty(0, dtype)
    if pa.types.is_string(kind) and len(column) < FEW_TEXTS:
        return np.array([*column.to_pylist(), None], object)[:-1]
    return column.to_numpy()


def row_count(path):
    """Return the number of rows of a Parquet file; SettingsError where it cannot be read."""
    try:
        return pq.read_metadata(path).num_rows
    except (OSError, pa.ArrowException) as problem:
        raise SettingsError(f"{path}: is no readable Parquet file: {problem}") from None


def read_heading(path):
    """Return (ends of columns, metadata) of a Parquet file, without its values.

    Returns
    -------
    ends : dict of str to pair
        Lowest and highest value of each column, NaN apart, as stored (times as int64 ns); None
        where a column has no value, or is of texts.
    metadata : dict

    Raises
    ------
    SettingsError
        Where the file cannot be read.
    """
    try:
        told = pq.read_metadata(path)
    except (OSError, pa.ArrowException) as problem:
        raise SettingsError(f"{path}: is no readable Parquet file: {problem}") from None
    ends = {}
    for number, name in enumerate(told.schema.names):
        parts = (told.row_group(k).column(number) for k in range(told.num_row_groups))
        known = [p.statistics for p in parts if p.statistics is not None]
        known = [s for s in known if s.has_min_max and s.physical_type != "BYTE_ARRAY"]
        found = [s.min_raw for s in known], [s.max_raw for s in known]
        ends[name] = (min(found[0]), max(found[1])) if known else None
    return ends, json.loads((told.metadata or {}).get(b"stakeline", b"{}"))


def clean_leftovers(folder):
    """Delete what a kill left half-written below a folder; return the names deleted."""
    gone = []
    for path in sorted(Path(folder).rglob(f".*{_PART}")):
        path.unlink(missing_ok=True)
        gone.append(str(path))
    return gone


@contextlib.contextmanager
def only_one(path):
    """Hold a campaign for one run at a time; a kill sets it free.

    Raises SettingsError where another run holds it.
    """
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a") as file:
        if fcntl is not None:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                raise SettingsError(
                    f"{path.parent.parent}: another run is working on this campaign; wait for it"
                ) from None
        yield
