//! Refusals in the description of the API: every resource answers with problem details, under their own media type, and with the
//! usual ones besides those it names: a body that is none, a host that is not ours, a token that is missing.

use utoipa::openapi::{
    ContentBuilder, OpenApi, Ref, RefOr, ResponseBuilder,
    path::{Operation, PathItem},
};

use crate::web::problem::MEDIA_TYPE;

/// The media type that the description takes for every body of ours.
const PLAIN: &str = "application/json";

/// Describes the refusals of every operation.
pub fn describe(description: &mut OpenApi) {
    description.paths.paths.values_mut().flat_map(operations).for_each(refusals);
}

fn operations(path: &mut PathItem) -> impl Iterator<Item = &mut Operation> {
    [&mut path.get, &mut path.put, &mut path.post, &mut path.delete].into_iter().flatten()
}

fn refusals(operation: &mut Operation) {
    let responses = &mut operation.responses.responses;
    for (status, response) in responses.iter_mut() {
        if let RefOr::T(response) = response
            && status.starts_with(['4', '5'])
            && let Some(content) = response.content.swap_remove(PLAIN)
        {
            response.content.insert(MEDIA_TYPE.into(), content);
        }
    }
    let problem = ContentBuilder::new().schema(Some(Ref::from_schema_name("Problem"))).build();
    let other =
        ResponseBuilder::new().description("Not done; `detail` says why").content(MEDIA_TYPE, problem);
    responses.insert("default".into(), other.build().into());
}
