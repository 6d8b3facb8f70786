"""Arrow tables to pandas frames for the trend room, and its frames back to tables of the schemas."""

import pandas as pd
import pyarrow as pa

from monitor import schema


def frame(table: pa.Table) -> pd.DataFrame:
    """A table as the trend room takes it: dates as datetime64, text as str, nothing else changed."""
    made: pd.DataFrame = table.to_pandas(date_as_object=False)
    return made


def table(name: str, data: pd.DataFrame) -> pa.Table:
    """A frame as a table of the schema of that name: columns ordered, NaN as null, missing text as ''."""
    wanted = schema.find(name)
    columns = {}
    for field in wanted:
        values = data[field.name]
        if pa.types.is_string(field.type):
            columns[field.name] = pa.array(values.fillna("").astype(str).tolist(), field.type)
        elif pa.types.is_date(field.type):
            columns[field.name] = pa.array(pd.to_datetime(values).dt.date.where(values.notna(), None), field.type)
        elif pa.types.is_integer(field.type):
            columns[field.name] = pa.array(values.astype("Int64"), field.type)
        else:  # None where nothing is: pyarrow knows the NA of pandas only where that was there before its first array
            columns[field.name] = pa.array(values.astype(object).where(values.notna(), None).tolist(), field.type)
    return pa.table(columns, schema=wanted)
