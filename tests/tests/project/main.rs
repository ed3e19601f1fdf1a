//! What holds for the project as a whole: its dependencies, the order of its modules, its release.

mod dependencies;
mod module_order;
mod release;
