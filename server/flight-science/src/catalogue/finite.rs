//! Looks through an answer for NaN and infinities before it becomes JSON, which would write them as null.

use std::fmt;

use serde::ser::{
    self, Serialize, SerializeMap, SerializeSeq, SerializeStruct, SerializeStructVariant,
    SerializeTuple, SerializeTupleStruct, SerializeTupleVariant, Serializer,
};

/// The first figure of an answer that is not finite.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotFinite {
    /// The field that has it, without the fields around it.
    pub field: String,
}

impl fmt::Display for NotFinite {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} is not finite", self.field)
    }
}

impl std::error::Error for NotFinite {}

impl ser::Error for NotFinite {
    /// For what an answer's own `Serialize` may complain about.
    fn custom<T: fmt::Display>(message: T) -> Self {
        Self { field: message.to_string() }
    }
}

/// Whether all figures of an answer are finite.
///
/// # Errors
///
/// [`NotFinite`] with the field of the first that is not.
pub fn all_finite<T: Serialize + ?Sized>(answer: &T) -> Result<(), NotFinite> {
    answer.serialize(Looking { field: "the answer" })
}

/// Goes through a value, and knows the field that it is in.
#[derive(Clone, Copy)]
struct Looking {
    field: &'static str,
}

/// What can't hold a figure with a fraction.
macro_rules! passed_over {
    ($($method:ident($kind:ty)),* $(,)?) => {$(
        fn $method(self, _value: $kind) -> Result<(), NotFinite> {
            Ok(())
        }
    )*};
}

impl Serializer for Looking {
    type Ok = ();
    type Error = NotFinite;
    type SerializeSeq = Self;
    type SerializeTuple = Self;
    type SerializeTupleStruct = Self;
    type SerializeTupleVariant = Self;
    type SerializeMap = Self;
    type SerializeStruct = Self;
    type SerializeStructVariant = Self;

    passed_over! {
        serialize_bool(bool), serialize_i8(i8), serialize_i16(i16), serialize_i32(i32), serialize_i64(i64),
        serialize_u8(u8), serialize_u16(u16), serialize_u32(u32), serialize_u64(u64), serialize_char(char),
        serialize_str(&str), serialize_bytes(&[u8]), serialize_unit_struct(&'static str),
    }

    fn serialize_f32(self, value: f32) -> Result<(), NotFinite> {
        self.serialize_f64(f64::from(value))
    }

    fn serialize_f64(self, value: f64) -> Result<(), NotFinite> {
        if value.is_finite() { Ok(()) } else { Err(NotFinite { field: self.field.to_owned() }) }
    }

    fn serialize_none(self) -> Result<(), NotFinite> {
        Ok(())
    }

    fn serialize_unit(self) -> Result<(), NotFinite> {
        Ok(())
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Result<(), NotFinite> {
        value.serialize(self)
    }

    fn serialize_unit_variant(
        self,
        _name: &'static str,
        _index: u32,
        _variant: &'static str,
    ) -> Result<(), NotFinite> {
        Ok(())
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(
        self,
        _name: &'static str,
        value: &T,
    ) -> Result<(), NotFinite> {
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _name: &'static str,
        _index: u32,
        _variant: &'static str,
        value: &T,
    ) -> Result<(), NotFinite> {
        value.serialize(self)
    }

    fn serialize_seq(self, _length: Option<usize>) -> Result<Self, NotFinite> {
        Ok(self)
    }

    fn serialize_tuple(self, _length: usize) -> Result<Self, NotFinite> {
        Ok(self)
    }

    fn serialize_tuple_struct(
        self,
        _name: &'static str,
        _length: usize,
    ) -> Result<Self, NotFinite> {
        Ok(self)
    }

    fn serialize_tuple_variant(
        self,
        _name: &'static str,
        _index: u32,
        _variant: &'static str,
        _length: usize,
    ) -> Result<Self, NotFinite> {
        Ok(self)
    }

    fn serialize_map(self, _length: Option<usize>) -> Result<Self, NotFinite> {
        Ok(self)
    }

    fn serialize_struct(self, _name: &'static str, _length: usize) -> Result<Self, NotFinite> {
        Ok(self)
    }

    fn serialize_struct_variant(
        self,
        _name: &'static str,
        _index: u32,
        _variant: &'static str,
        _length: usize,
    ) -> Result<Self, NotFinite> {
        Ok(self)
    }
}

/// Items of a list, which are in the list's field.
macro_rules! items_of {
    ($($kind:ident :: $method:ident),* $(,)?) => {$(
        impl $kind for Looking {
            type Ok = ();
            type Error = NotFinite;

            fn $method<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), NotFinite> {
                value.serialize(*self)
            }

            fn end(self) -> Result<(), NotFinite> {
                Ok(())
            }
        }
    )*};
}

items_of! {
    SerializeSeq::serialize_element, SerializeTuple::serialize_element,
    SerializeTupleStruct::serialize_field, SerializeTupleVariant::serialize_field,
}

/// Fields of an object, each with its own name.
macro_rules! fields_of {
    ($($kind:ident),* $(,)?) => {$(
        impl $kind for Looking {
            type Ok = ();
            type Error = NotFinite;

            fn serialize_field<T: Serialize + ?Sized>(
                &mut self,
                field: &'static str,
                value: &T,
            ) -> Result<(), NotFinite> {
                value.serialize(Self { field })
            }

            fn end(self) -> Result<(), NotFinite> {
                Ok(())
            }
        }
    )*};
}

fields_of! { SerializeStruct, SerializeStructVariant }

impl SerializeMap for Looking {
    type Ok = ();
    type Error = NotFinite;

    fn serialize_key<T: Serialize + ?Sized>(&mut self, _key: &T) -> Result<(), NotFinite> {
        Ok(())
    }

    fn serialize_value<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), NotFinite> {
        value.serialize(*self)
    }

    fn end(self) -> Result<(), NotFinite> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use serde::Serialize;

    use super::all_finite;

    #[derive(Serialize)]
    struct Outer {
        inner: Vec<Inner>,
        rows: Vec<[f64; 2]>,
        maybe: Option<f64>,
    }

    #[derive(Serialize)]
    struct Inner {
        figure_kt: f64,
    }

    #[test]
    fn a_figure_that_is_not_finite_is_found_wherever_it_stands() {
        let answer = |figure_kt, row, maybe| Outer {
            inner: vec![Inner { figure_kt: 1.0 }, Inner { figure_kt }],
            rows: vec![[0.0, row]],
            maybe,
        };
        let field = |answer| all_finite(&answer).err().map(|not_finite| not_finite.field);
        assert_eq!(field(answer(2.0, 3.0, None)), None);
        assert_eq!(field(answer(2.0, 3.0, Some(4.0))), None);
        assert_eq!(field(answer(f64::NAN, 3.0, None)).as_deref(), Some("figure_kt"));
        assert_eq!(field(answer(2.0, f64::INFINITY, None)).as_deref(), Some("rows"));
        assert_eq!(field(answer(2.0, 3.0, Some(f64::NAN))).as_deref(), Some("maybe"));
    }
}
