"""Apache Parquet: each table with the unit and the meaning of every column in the field's metadata."""

import numpy as np

from ground.export.dictionary import meaning_of, unit_of


def write_parquet(path, table):
    """Write a Table. Needs pyarrow (ImportError without it); NaN and NaT become null."""
    import pyarrow
    import pyarrow.parquet

    fields, arrays = [], []
    for name, values in table.columns.items():
        if values.dtype.kind == "M":
            array = pyarrow.array(values, pyarrow.timestamp("ms", tz="UTC"), mask=np.isnat(values))
        elif values.dtype.kind == "f":
            array = pyarrow.array(values, pyarrow.float64(), mask=np.isnan(values))
        elif values.dtype.kind == "i":
            array = pyarrow.array(values, pyarrow.int64())
        else:
            array = pyarrow.array([str(value) for value in values.tolist()], pyarrow.string())
        metadata = {"unit": unit_of(name), "meaning": meaning_of(table.kind, name)}
        fields.append(pyarrow.field(name, array.type, metadata=metadata))
        arrays.append(array)
    pyarrow.parquet.write_table(pyarrow.table(arrays, schema=pyarrow.schema(fields)), path, compression="zstd")
