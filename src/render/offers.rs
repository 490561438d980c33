//! What the data offers where a layout is broken: the names of the fields there, never what they hold.

use std::collections::BTreeSet;
use std::ops::Range;

use serde_json::Value as Data;
use typst::World;
use typst::foundations::Value;
use typst::syntax::ast::{self, AstNode};
use typst::syntax::{LinkedNode, Source, Span};
use typst_layout::PagedDocument;

/// A sentence that names the fields of the dictionary whose field is asked for at the bytes `place` of
/// `source`: ``the data has here `day`, `page_code` …``. Nothing where the layout asks for no field there.
///
/// Only names that are fields of `data` are told: a layout of a unit's own could make a dictionary
/// whose keys are names of patients.
pub(super) fn offered(
    world: &dyn World,
    source: &Source,
    place: Range<usize>,
    data: &Data,
) -> Option<String> {
    let node = node_at(LinkedNode::new(source.root()), &place);
    let asked = target(&node)?;
    let mut fields = BTreeSet::new();
    for (value, _) in typst::trace::<PagedDocument>(world, asked) {
        if let Value::Dict(dictionary) = value {
            fields.extend(dictionary.iter().map(|(key, _)| key.to_string()));
        }
    }
    let mut known = BTreeSet::new();
    names(data, &mut known);
    fields.retain(|field| known.contains(field.as_str()));
    sentence(&fields.iter().map(String::as_str).collect::<Vec<_>>())
}

/// The same for the whole of a sheet's data.
pub(super) fn offered_to_a_sheet(data: &Data) -> Option<String> {
    let fields: Vec<&str> = data.as_object()?.keys().map(String::as_str).collect();
    sentence(&fields)
}

fn sentence(fields: &[&str]) -> Option<String> {
    let quoted: Vec<String> = fields.iter().map(|field| format!("`{field}`")).collect();
    (!quoted.is_empty()).then(|| format!("the data has here {}", quoted.join(", ")))
}

/// The smallest node around a range of bytes.
fn node_at<'n>(root: LinkedNode<'n>, place: &Range<usize>) -> LinkedNode<'n> {
    let mut node = root;
    loop {
        let around = |child: &LinkedNode<'_>| {
            let range = child.range();
            range.start <= place.start && place.end <= range.end
        };
        let Some(child) = node.children().find(around) else { return node };
        node = child;
    }
}

/// The expression whose field is asked for: `data.head` in `data.head.unit` and in
/// `data.head.at("unit")`. Typst points at the field in the first, at the call or at its callee in the
/// second.
fn target(node: &LinkedNode<'_>) -> Option<Span> {
    if let Some(access) = access(node) {
        return Some(access.target().to_untyped().span());
    }
    let parent = node.parent()?;
    let access = access(parent)?;
    (access.target().to_untyped().span() != node.span()).then(|| access.target().to_untyped().span())
}

/// The field that a node asks for, or the method that it calls.
fn access<'n>(node: &'n LinkedNode<'n>) -> Option<ast::FieldAccess<'n>> {
    let called = || match node.cast::<ast::FuncCall<'n>>()?.callee() {
        ast::Expr::FieldAccess(access) => Some(access),
        _ => None,
    };
    node.cast().or_else(called)
}

/// Every field's name in the data.
fn names<'d>(data: &'d Data, known: &mut BTreeSet<&'d str>) {
    match data {
        Data::Object(fields) => {
            for (name, field) in fields {
                known.insert(name);
                names(field, known);
            }
        }
        Data::Array(items) => items.iter().for_each(|item| names(item, known)),
        _ => {}
    }
}
