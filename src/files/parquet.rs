//! Parquet files, column by column, as rows under a header.

use std::io::Cursor;

use jiff::civil::{Date, DateTime, date};
use polars_arrow::array::{Array, BooleanArray, PrimitiveArray, Utf8Array, Utf8ViewArray};
use polars_arrow::datatypes::{ArrowDataType, TimeUnit};
use polars_arrow::types::NativeType;
use polars_parquet::read::{BasicDecompressor, PageReader, column_iter_to_arrays, infer_schema, read_metadata};

use super::grid::Grid;
use super::guard::guarded;

const EPOCH: Date = date(1970, 1, 1);

/// The columns of a Parquet file as a grid: row 1 holds their names, and row 2 is the first record. A null is an empty cell.
/// Columns of lists, structures and other types that have no place in a table are left out.
///
/// # Errors
/// A file that is no Parquet file, or a damaged one.
pub(super) fn read(bytes: Vec<u8>) -> Result<Grid, String> {
    guarded(|| grid(bytes)).unwrap_or_else(|| Err("it is damaged".to_owned()))
}

fn grid(bytes: Vec<u8>) -> Result<Grid, String> {
    let mut cursor = Cursor::new(bytes);
    let metadata = read_metadata(&mut cursor).map_err(|error| error.to_string())?;
    let schema = infer_schema(&metadata).map_err(|error| error.to_string())?;
    let bytes = cursor.into_inner();
    let mut names = Vec::new();
    let mut columns: Vec<Vec<Box<dyn Array>>> = Vec::new();
    for (name, field) in schema.iter() {
        if !is_table_type(field.dtype()) {
            continue;
        }
        let mut chunks = Vec::new();
        for group in &metadata.row_groups {
            let mut pages = Vec::new();
            let mut types = Vec::new();
            for column in group.columns_under_root_iter(name).into_iter().flatten() {
                let range = column.byte_range();
                let Some(chunk) = bytes.get(range.start as usize..range.end as usize) else {
                    return Err("it is cut off".to_owned());
                };
                let reader = PageReader::new(Cursor::new(chunk.to_vec().into()), column, Vec::new(), usize::MAX);
                pages.push(BasicDecompressor::new(reader, Vec::new()));
                types.push(&column.descriptor().descriptor.primitive_type);
            }
            let (arrays, _) =
                column_iter_to_arrays(pages, types, field.clone(), None).map_err(|error| error.to_string())?;
            chunks.extend(arrays);
        }
        names.push(name.as_str());
        columns.push(chunks);
    }
    let mut grid = Grid::default();
    grid.start_row(1);
    for name in &names {
        grid.push(name);
    }
    let mut cursors: Vec<(usize, usize)> = vec![(0, 0); columns.len()];
    for record in 0..metadata.num_rows {
        grid.start_row(record as u64 + 2);
        for (chunks, (chunk, row)) in columns.iter().zip(&mut cursors) {
            while chunks.get(*chunk).is_some_and(|array| *row >= array.len()) {
                (*chunk, *row) = (*chunk + 1, 0);
            }
            match chunks.get(*chunk) {
                Some(array) => push(&mut grid, array.as_ref(), *row),
                None => return Err("its columns have different lengths".to_owned()),
            }
            *row += 1;
        }
        if grid.is_too_large() {
            return Err("it holds too many cells".to_owned());
        }
    }
    Ok(grid)
}

/// Numbers, texts, truth values, dates and times.
fn is_table_type(dtype: &ArrowDataType) -> bool {
    use ArrowDataType as Type;
    matches!(
        dtype,
        Type::Null
            | Type::Boolean
            | Type::Int8
            | Type::Int16
            | Type::Int32
            | Type::Int64
            | Type::UInt8
            | Type::UInt16
            | Type::UInt32
            | Type::UInt64
            | Type::Float32
            | Type::Float64
            | Type::Date32
            | Type::Timestamp(..)
            | Type::Utf8
            | Type::LargeUtf8
            | Type::Utf8View
    )
}

fn push(grid: &mut Grid, array: &dyn Array, row: usize) {
    use ArrowDataType as Type;
    if array.is_null(row) {
        return grid.push("");
    }
    match array.dtype() {
        Type::Boolean => match array.as_any().downcast_ref::<BooleanArray>() {
            Some(values) => grid.push_typed(if values.value(row) { "TRUE" } else { "FALSE" }),
            None => grid.push(""),
        },
        Type::Int8 => number::<i8>(grid, array, row),
        Type::Int16 => number::<i16>(grid, array, row),
        Type::Int32 => number::<i32>(grid, array, row),
        Type::Int64 => number::<i64>(grid, array, row),
        Type::UInt8 => number::<u8>(grid, array, row),
        Type::UInt16 => number::<u16>(grid, array, row),
        Type::UInt32 => number::<u32>(grid, array, row),
        Type::UInt64 => number::<u64>(grid, array, row),
        Type::Float32 => number::<f32>(grid, array, row),
        Type::Float64 => number::<f64>(grid, array, row),
        Type::Date32 => {
            let days = value::<i32>(array, row).map(i64::from);
            push_or_blank(grid, days.and_then(|days| EPOCH.checked_add(jiff::Span::new().try_days(days).ok()?).ok()));
        }
        Type::Timestamp(unit, _) => {
            let moment = value::<i64>(array, row).and_then(|count| moment(*unit, count));
            match moment {
                Some(moment) if moment.time() == jiff::civil::Time::midnight() => grid.push_typed(moment.date()),
                moment => push_or_blank(grid, moment),
            }
        }
        _ => {
            let any = array.as_any();
            let text = any
                .downcast_ref::<Utf8ViewArray>()
                .map(|values| values.value(row))
                .or_else(|| any.downcast_ref::<Utf8Array<i64>>().map(|values| values.value(row)))
                .or_else(|| any.downcast_ref::<Utf8Array<i32>>().map(|values| values.value(row)));
            grid.push(text.unwrap_or_default());
        }
    }
}

fn value<T: NativeType>(array: &dyn Array, row: usize) -> Option<T> {
    array.as_any().downcast_ref::<PrimitiveArray<T>>().map(|values| values.value(row))
}

fn number<T: NativeType>(grid: &mut Grid, array: &dyn Array, row: usize) {
    push_or_blank(grid, value::<T>(array, row));
}

fn push_or_blank(grid: &mut Grid, value: Option<impl std::fmt::Display>) {
    match value {
        Some(value) => grid.push_typed(value),
        None => grid.push(""),
    }
}

fn moment(unit: TimeUnit, count: i64) -> Option<DateTime> {
    let span = match unit {
        TimeUnit::Second => jiff::Span::new().try_seconds(count),
        TimeUnit::Millisecond => jiff::Span::new().try_milliseconds(count),
        TimeUnit::Microsecond => jiff::Span::new().try_microseconds(count),
        TimeUnit::Nanosecond => jiff::Span::new().try_nanoseconds(count),
    };
    EPOCH.at(0, 0, 0, 0).checked_add(span.ok()?).ok()
}
