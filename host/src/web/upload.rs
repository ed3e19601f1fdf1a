//! A photo that a form sends (RFC 7578).

use axum::extract::{FromRequest, Multipart, Request, multipart::MultipartError};

use super::problem::Problem;
use crate::records::INPUT_BYTES;

/// Longest form that is taken, byte: the largest photo, and room for what stands around it.
pub const LONGEST_UPLOAD: usize = INPUT_BYTES + (64 << 10);

/// A photo with its caption. How much of it is taken is up to the route.
#[derive(Clone, Debug, Default)]
pub struct Upload {
    /// The file.
    pub photo: Vec<u8>,
    /// What it shows; may be empty.
    pub caption: String,
}

impl<S: Send + Sync> FromRequest<S> for Upload {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        let form = Multipart::from_request(request, state).await;
        let mut form = form.map_err(|refusal| Problem::new(refusal.status(), refusal.body_text()))?;
        let (mut photo, mut caption) = (None, String::new());
        while let Some(field) = form.next_field().await.map_err(refused)? {
            match field.name() {
                Some("photo") => photo = Some(field.bytes().await.map_err(refused)?.to_vec()),
                Some("caption") => caption = field.text().await.map_err(refused)?.trim().to_owned(),
                _ => {}
            }
        }
        let photo =
            photo.ok_or_else(|| Problem::bad_request("the form has no field `photo` with a file in it"))?;
        Ok(Self { photo, caption })
    }
}

fn refused(error: MultipartError) -> Problem {
    Problem::new(error.status(), error.body_text())
}
