//! Where a change could be made in a source file, and the text that makes it behind a switch.

use std::ops::Range;

use proc_macro2::Span;
use quote::ToTokens;
use syn::spanned::Spanned;
use syn::visit::{self, Visit};
use syn::{BinOp, Block, Expr, ReturnType, Signature, Type, UnOp};

/// One change that a switch turns on.
#[derive(Clone, Debug)]
pub struct Mutant {
    /// Which site of the file's [`Site`]s it belongs to.
    pub site: usize,
    pub line: usize,
    pub change: String,
    /// What stands in the site's place while the switch is on; its meaning is the site's.
    with: String,
}

/// A place of one file and how it is written anew. Byte ranges of the file.
#[derive(Clone, Debug)]
pub struct Site {
    pub span: Range<usize>,
    form: Form,
}

#[derive(Clone, Debug)]
enum Form {
    /// The start of a function's body: values returned at once.
    Body,
    /// `left OP right`, both worked out first; for comparisons by reference.
    Both {
        operator: Range<usize>,
        was: String,
        by_reference: bool,
    },
    /// `left && right`: by De Morgan, so that neither side stands twice.
    Lazy { operator: Range<usize>, was: String },
    /// `left OP= right`.
    Assign { right: Range<usize>, was: String },
    /// `!x` or `-x`, without the sign while on.
    Sign { inner: Range<usize> },
    /// The guard of an arm: always, never.
    Guard,
    /// An arm without a guard, left out: text goes in after its pattern.
    Arm,
}

/// All that could be changed in a file outside its tests. Sites come from the outside in.
pub fn of_source(text: &str) -> (Vec<Site>, Vec<Mutant>) {
    let file = syn::parse_file(text).expect("the program's own source");
    let mut finder = Finder {
        sites: Vec::new(),
        mutants: Vec::new(),
    };
    finder.visit_file(&file);
    (finder.sites, finder.mutants)
}

struct Finder {
    sites: Vec<Site>,
    mutants: Vec<Mutant>,
}

impl Finder {
    fn add(&mut self, span: Span, form: Form, changes: Vec<(String, String)>) {
        if changes.is_empty() {
            return;
        }
        for (change, with) in changes {
            self.mutants.push(Mutant {
                site: self.sites.len(),
                line: span.start().line,
                change,
                with,
            });
        }
        self.sites.push(Site {
            span: span.byte_range(),
            form,
        });
    }

    fn function(&mut self, signature: &Signature, block: &Block) {
        if signature.constness.is_some() || block.stmts.is_empty() {
            return;
        }
        let values = match &signature.output {
            ReturnType::Default => vec!["()".to_owned()],
            ReturnType::Type(_, returned) => values_of(returned),
        };
        let changes = values
            .into_iter()
            .map(|value| (format!("{} returns {value}", signature.ident), value));
        let changes = changes.collect();
        self.add(block.span(), Form::Body, changes);
        visit::visit_block(self, block);
    }
}

fn is_for_tests(attributes: &[syn::Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        let said = attribute.to_token_stream().to_string();
        said == "# [test]" || (said.contains("cfg") && said.contains("test"))
    })
}

impl<'ast> Visit<'ast> for Finder {
    fn visit_item_mod(&mut self, item: &'ast syn::ItemMod) {
        if !is_for_tests(&item.attrs) {
            visit::visit_item_mod(self, item);
        }
    }

    fn visit_item_fn(&mut self, item: &'ast syn::ItemFn) {
        if !is_for_tests(&item.attrs) {
            self.function(&item.sig, &item.block);
        }
    }

    fn visit_impl_item_fn(&mut self, item: &'ast syn::ImplItemFn) {
        if !is_for_tests(&item.attrs) {
            self.function(&item.sig, &item.block);
        }
    }

    // What is worked out when the program is built cannot ask a switch.
    fn visit_item_const(&mut self, _: &'ast syn::ItemConst) {}
    fn visit_item_static(&mut self, _: &'ast syn::ItemStatic) {}
    fn visit_impl_item_const(&mut self, _: &'ast syn::ImplItemConst) {}
    fn visit_type(&mut self, _: &'ast Type) {}
    fn visit_pat(&mut self, _: &'ast syn::Pat) {}
    fn visit_generic_argument(&mut self, _: &'ast syn::GenericArgument) {}
    fn visit_variant(&mut self, _: &'ast syn::Variant) {}
    fn visit_expr_const(&mut self, _: &'ast syn::ExprConst) {}
    fn visit_expr_repeat(&mut self, repeat: &'ast syn::ExprRepeat) {
        self.visit_expr(&repeat.expr);
    }

    fn visit_expr_match(&mut self, item: &'ast syn::ExprMatch) {
        let has_rest = item
            .arms
            .iter()
            .any(|arm| arm.guard.is_none() && takes_all(&arm.pat));
        for arm in &item.arms {
            if let Some((_, guard)) = &arm.guard {
                if !holds_let(guard) {
                    let said = guard.to_token_stream();
                    self.add(
                        guard.span(),
                        Form::Guard,
                        vec![
                            (format!("guard {said} always"), "true".into()),
                            (format!("guard {said} never"), "false".into()),
                        ],
                    );
                }
            } else if has_rest && !takes_all(&arm.pat) {
                let said = arm.pat.to_token_stream();
                let change = format!("arm {said} left out");
                self.add(arm.pat.span(), Form::Arm, vec![(change, String::new())]);
            }
        }
        visit::visit_expr_match(self, item);
    }

    fn visit_expr_unary(&mut self, unary: &'ast syn::ExprUnary) {
        let sign = match unary.op {
            UnOp::Not(_) => "!",
            UnOp::Neg(_) => "-",
            _ => "",
        };
        if !sign.is_empty() {
            let inner = unary.expr.span().byte_range();
            let change = format!("{sign} left out");
            let form = Form::Sign { inner };
            self.add(unary.span(), form, vec![(change, sign.into())]);
        }
        visit::visit_expr_unary(self, unary);
    }

    fn visit_expr_binary(&mut self, binary: &'ast syn::ExprBinary) {
        let operator = binary.op.span().byte_range();
        let was = binary.op.to_token_stream().to_string();
        let others: &[&str] = match binary.op {
            BinOp::Eq(_) => &["!="],
            BinOp::Ne(_) => &["=="],
            BinOp::Lt(_) => &["<=", ">", "=="],
            BinOp::Le(_) => &["<", ">"],
            BinOp::Gt(_) => &[">=", "<", "=="],
            BinOp::Ge(_) => &[">", "<"],
            BinOp::And(_) => &["||"],
            BinOp::Or(_) => &["&&"],
            BinOp::Add(_) => &["-", "*"],
            BinOp::Sub(_) => &["+", "/"],
            BinOp::Mul(_) => &["+", "/"],
            BinOp::Div(_) => &["*", "%"],
            BinOp::Rem(_) => &["/", "+"],
            BinOp::AddAssign(_) => &["-=", "*="],
            BinOp::SubAssign(_) => &["+=", "/="],
            BinOp::MulAssign(_) => &["+=", "/="],
            BinOp::DivAssign(_) => &["*=", "%="],
            _ => &[],
        };
        let changes = others.iter().map(|other| {
            let change = format!("{was} becomes {other}");
            (change, (*other).to_owned())
        });
        let changes = changes.collect();
        let lazy = matches!(binary.op, BinOp::And(_) | BinOp::Or(_));
        let form = match binary.op {
            BinOp::AddAssign(_)
            | BinOp::SubAssign(_)
            | BinOp::MulAssign(_)
            | BinOp::DivAssign(_) => {
                let right = binary.right.span().byte_range();
                self.add(binary.span(), Form::Assign { right, was }, changes);
                // The left side is written twice, so it stays as it is.
                self.visit_expr(&binary.right);
                return;
            }
            _ if lazy => Form::Lazy { operator, was },
            _ => {
                let by_reference = matches!(was.as_str(), "==" | "!=" | "<" | "<=" | ">" | ">=");
                Form::Both {
                    operator,
                    was,
                    by_reference,
                }
            }
        };
        let chained = lazy && (holds_let(&binary.left) || holds_let(&binary.right));
        if !chained {
            self.add(binary.span(), form, changes);
        }
        visit::visit_expr_binary(self, binary);
    }
}

/// Whether a pattern takes whatever is left: `_` or a name (`None` is a value, by its capital).
fn takes_all(pattern: &syn::Pat) -> bool {
    match pattern {
        syn::Pat::Wild(_) => true,
        syn::Pat::Ident(name) => name.ident.to_string().starts_with(char::is_lowercase),
        _ => false,
    }
}

/// Whether a condition binds names (`if let … && …`): its parts cannot stand in brackets.
fn holds_let(condition: &Expr) -> bool {
    match condition {
        Expr::Let(_) => true,
        Expr::Binary(binary) => holds_let(&binary.left) || holds_let(&binary.right),
        _ => false,
    }
}

/// Values that a function of this type could return instead of its own.
fn values_of(returned: &Type) -> Vec<String> {
    let said = returned.to_token_stream().to_string();
    match said.as_str() {
        "bool" => return strings(&["true", "false"]),
        "f64" | "f32" => return strings(&["0.0", "1.0", "-1.0"]),
        "i32" | "i64" | "isize" => return strings(&["0", "1", "-1"]),
        "u8" | "u16" | "u32" | "u64" | "usize" => return strings(&["0", "1"]),
        "String" => return strings(&["String::new()", "\"xyzzy\".to_owned()"]),
        "& str" | "& 'static str" => return strings(&["\"\"", "\"xyzzy\""]),
        _ => {}
    }
    match returned {
        Type::ImplTrait(_) | Type::Reference(_) | Type::Never(_) => Vec::new(),
        Type::Tuple(tuple) if tuple.elems.is_empty() => strings(&["()"]),
        Type::Path(path) => {
            let last = path.path.segments.last().expect("a path has a part");
            let inner = match &last.arguments {
                syn::PathArguments::AngleBracketed(given) => given.args.first(),
                _ => None,
            };
            let inner = match inner {
                Some(syn::GenericArgument::Type(inner)) => values_of(inner),
                _ => Vec::new(),
            };
            let wrapped = |before: &str, after: &str| -> Vec<String> {
                inner
                    .iter()
                    .map(|value| format!("{before}{value}{after}"))
                    .collect()
            };
            match last.ident.to_string().as_str() {
                "Option" => [strings(&["None"]), wrapped("Some(", ")")].concat(),
                "Result" => wrapped("Ok(", ")"),
                "Vec" => [strings(&["vec![]"]), wrapped("vec![", "]")].concat(),
                _ => strings(&["Default::default()"]),
            }
        }
        _ => strings(&["Default::default()"]),
    }
}

fn strings(words: &[&str]) -> Vec<String> {
    words.iter().map(|word| (*word).to_owned()).collect()
}

/// A file's text with its mutants behind their switches, and the byte range in the new text that each site takes.
/// `mutants` are those to plant, with their numbers.
pub fn plant(
    text: &str,
    sites: &[Site],
    mutants: &[(usize, &Mutant)],
) -> (String, Vec<Range<usize>>) {
    let mut edits = Vec::new();
    for (index, site) in sites.iter().enumerate() {
        let here: Vec<_> = mutants
            .iter()
            .filter(|(_, mutant)| mutant.site == index)
            .collect();
        if !here.is_empty() {
            edits.extend(edits_of(text, index, site, &here));
        }
    }
    // At one place: what closes, from the inside out, then what replaces, then what opens, from the outside in.
    edits.sort_by_key(|edit| {
        let order = match edit.kind {
            Kind::Close => -(edit.site as i64),
            _ => edit.site as i64,
        };
        (edit.range.start, edit.kind, order)
    });
    let mut new = String::with_capacity(text.len() * 2);
    let mut ranges = vec![0..0; sites.len()];
    let mut at = 0;
    for edit in &edits {
        new.push_str(&text[at..edit.range.start]);
        if edit.kind == Kind::Open {
            ranges[edit.site].start = new.len();
        }
        new.push_str(&edit.text);
        ranges[edit.site].end = new.len();
        at = edit.range.end;
    }
    new.push_str(&text[at..]);
    (new, ranges)
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    Close,
    Replace,
    Open,
}

struct Edit {
    range: Range<usize>,
    kind: Kind,
    site: usize,
    text: String,
}

fn edits_of(text: &str, index: usize, site: &Site, mutants: &[&(usize, &Mutant)]) -> Vec<Edit> {
    let edit = |range: Range<usize>, kind, text: String| Edit {
        range,
        kind,
        site: index,
        text,
    };
    let open = |text: String| edit(site.span.start..site.span.start, Kind::Open, text);
    let close = |text: String| edit(site.span.end..site.span.end, Kind::Close, text);
    let on = |number: usize| format!("crate::mutants::on({number})");
    let any = || {
        let all: Vec<_> = mutants.iter().map(|(number, _)| on(*number)).collect();
        format!("({})", all.join(" || "))
    };
    // `if on(1) { one } else if on(2) { two } else { as it was }`
    let chosen = |make: &dyn Fn(&str) -> String, was: &str| {
        let cases = mutants.iter().map(|(number, mutant)| {
            format!("if {} {{ {} }} else ", on(*number), make(&mutant.with))
        });
        format!("{}{{ {} }}", cases.collect::<String>(), make(was))
    };
    match &site.form {
        Form::Body => {
            let start = site.span.start + 1;
            let cases = mutants.iter().map(|(number, mutant)| {
                format!(" if {} {{ return {}; }}", on(*number), mutant.with)
            });
            vec![
                edit(start..start, Kind::Open, cases.collect()),
                close(String::new()),
            ]
        }
        Form::Both {
            operator,
            was,
            by_reference,
        } => {
            let by = if *by_reference { "&" } else { "" };
            let make = |other: &str| format!("left {other} right");
            vec![
                open(format!("(match ({by}(")),
                edit(operator.clone(), Kind::Replace, format!("), {by}(")),
                close(format!(")) {{ (left, right) => {} }})", chosen(&make, was))),
            ]
        }
        Form::Lazy { operator, was } => vec![
            open("((((".into()),
            edit(
                operator.clone(),
                Kind::Replace,
                format!(") ^ {}) {was} ((", any()),
            ),
            close(format!(") ^ {0})) ^ {0})", any())),
        ],
        Form::Assign { right, was } => {
            let left = text[site.span.start..right.start].trim_end();
            let left = left
                .strip_suffix(was.as_str())
                .expect("an assignment's sign");
            let make = |other: &str| format!("{left} {other} right");
            vec![
                edit(
                    site.span.start..right.start,
                    Kind::Open,
                    "{ let right = (".into(),
                ),
                close(format!("); {} }}", chosen(&make, was))),
            ]
        }
        Form::Sign { inner } => {
            if mutants[0].1.with == "!" {
                vec![
                    edit(site.span.start..inner.start, Kind::Open, "(!(".into()),
                    close(format!(") ^ {})", any())),
                ]
            } else {
                vec![
                    edit(site.span.start..inner.start, Kind::Open, "(match (".into()),
                    close(format!(
                        ") {{ inner => if {} {{ inner }} else {{ -inner }} }})",
                        any()
                    )),
                ]
            }
        }
        Form::Guard => {
            let of = |word: &str| {
                let found = mutants.iter().find(|(_, mutant)| mutant.with == word);
                found.map_or("false".to_owned(), |(number, _)| on(*number))
            };
            vec![
                open(format!("({} || (!{} && (", of("true"), of("false"))),
                close(")))".into()),
            ]
        }
        Form::Arm => vec![
            open(String::new()),
            close(format!(" if !{}", on(mutants[0].0))),
        ],
    }
}
