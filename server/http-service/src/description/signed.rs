//! Bodies that are signed: what is signed, and besides the password or PIN.

use std::borrow::Cow;
use std::marker::PhantomData;

use utoipa::openapi::schema::{KnownFormat, Object, ObjectBuilder, OneOf, SchemaFormat, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

/// The body of a request that somebody signs, for the description.
#[derive(Debug)]
pub struct SignedBody<T>(PhantomData<T>);

fn secret() -> RefOr<Schema> {
    RefOr::T(
        ObjectBuilder::new()
            .schema_type(Type::String)
            .format(Some(SchemaFormat::KnownFormat(KnownFormat::Password)))
            .max_length(Some(256))
            .description(Some("The password or PIN of whoever signs, given again."))
            .into(),
    )
}

fn with_secret(schema: RefOr<Schema>) -> RefOr<Schema> {
    match schema {
        RefOr::T(Schema::Object(object)) => {
            let mut object: Object = object;
            object.properties.insert("secret".to_owned(), secret());
            object.required.push("secret".to_owned());
            RefOr::T(Schema::Object(object))
        }
        RefOr::T(Schema::OneOf(one_of)) => {
            let mut one_of: OneOf = one_of;
            one_of.items = one_of.items.into_iter().map(with_secret).collect();
            RefOr::T(Schema::OneOf(one_of))
        }
        other => other,
    }
}

impl<T: PartialSchema> utoipa::__dev::ComposeSchema for SignedBody<T> {
    fn compose(_: Vec<RefOr<Schema>>) -> RefOr<Schema> {
        with_secret(T::schema())
    }
}

impl<T: ToSchema> ToSchema for SignedBody<T> {
    fn name() -> Cow<'static, str> {
        // The name of what is signed is added to it, as to those of all generic shapes.
        "Signed".into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        T::schemas(schemas);
    }
}
