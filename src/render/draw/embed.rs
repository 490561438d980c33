//! Takes pages of finished PDF files into another one as form XObjects, byte for byte: their content
//! is never decoded, their fonts and colours come along by reference.
//!
//! Done with lopdf, because printpdf loses content when it reads a file. Tags are left behind: the
//! files that this makes are for paper.

use lopdf::{Dictionary, Document, Object, ObjectId, Stream};

/// The most levels of a page tree that are searched for an inherited entry.
const DEEPEST: usize = 16;

/// Takes the pages of `pdf` into `host` and returns a form XObject for each, in order.
///
/// # Errors
/// What lopdf says of a file that it cannot read.
pub fn take_pages(host: &mut Document, pdf: &[u8]) -> Result<Vec<ObjectId>, lopdf::Error> {
    let mut source = Document::load_mem(pdf)?;
    source.renumber_objects_with(host.max_id + 1);
    let pages: Vec<ObjectId> = source.page_iter().collect();
    let forms = pages.into_iter().map(|page| form(&source, page)).collect::<Result<Vec<_>, _>>()?;
    host.max_id = source.max_id.max(host.max_id);
    host.objects.append(&mut source.objects);
    Ok(forms.into_iter().map(|form| host.add_object(form)).collect())
}

/// A page's content as a stream that can be drawn on any other page.
fn form(source: &Document, page: ObjectId) -> Result<Stream, lopdf::Error> {
    let mut form = content(source, page)?;
    form.dict.set("Type", "XObject");
    form.dict.set("Subtype", "Form");
    form.dict.set("FormType", 1);
    form.dict.set("BBox", inherited(source, page, b"MediaBox")?.clone());
    form.dict.set("Resources", inherited(source, page, b"Resources")?.clone());
    if let Ok(group) = source.get_dictionary(page)?.get(b"Group") {
        form.dict.set("Group", group.clone());
    }
    Ok(form)
}

/// The content stream as it is; several streams are joined, which decodes them.
fn content(source: &Document, page: ObjectId) -> Result<Stream, lopdf::Error> {
    match source.get_page_contents(page)[..] {
        [only] => source.get_object(only)?.as_stream().cloned(),
        _ => Ok(Stream::new(Dictionary::new(), source.get_page_content(page))),
    }
}

/// An entry of a page, or of the nearest node above it that has one (ISO 32000-1, 7.7.3.4).
fn inherited<'d>(source: &'d Document, page: ObjectId, key: &[u8]) -> Result<&'d Object, lopdf::Error> {
    let mut node = source.get_dictionary(page)?;
    for _ in 0..DEEPEST {
        if let Ok(found) = node.get(key) {
            return Ok(found);
        }
        node = source.get_dictionary(node.get(b"Parent")?.as_reference()?)?;
    }
    Err(lopdf::Error::DictKey(String::from_utf8_lossy(key).into_owned()))
}
