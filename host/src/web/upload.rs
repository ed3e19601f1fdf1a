//! Photos and other parts that a form sends (RFC 7578).

use std::collections::BTreeMap;

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

/// Fields of a form by their names. How much of it is taken is up to the route.
#[derive(Clone, Debug, Default)]
pub struct Parts(BTreeMap<String, Vec<u8>>);

impl Parts {
    /// Fields at most; none of our forms has as many.
    const MOST: usize = 8;

    /// The content of a field, once.
    pub fn take(&mut self, name: &str) -> Option<Vec<u8>> {
        self.0.remove(name)
    }
}

impl<S: Send + Sync> FromRequest<S> for Parts {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        let form = Multipart::from_request(request, state).await;
        let mut form = form.map_err(|refusal| Problem::new(refusal.status(), refusal.body_text()))?;
        let mut parts = BTreeMap::new();
        while let Some(field) = form.next_field().await.map_err(refused)? {
            let name = field.name().unwrap_or_default().to_owned();
            parts.insert(name, field.bytes().await.map_err(refused)?.to_vec());
            if parts.len() > Self::MOST {
                return Err(Problem::bad_request(format!("the form has more than {} fields", Self::MOST)));
            }
        }
        Ok(Self(parts))
    }
}

fn refused(error: MultipartError) -> Problem {
    Problem::new(error.status(), error.body_text())
}
