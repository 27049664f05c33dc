//! What every page is set in: self-contained, no script, no request to anywhere; prints on A4 and Letter.

use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = "\
:root{color-scheme:light}\
body{font:15px/1.45 sans-serif;color:#1a1a1a;background:#fff;margin:0 auto;padding:20px 24px;max-width:1080px}\
h1{font-size:24px;margin:0 0 2px}h2{font-size:18px;margin:28px 0 8px;border-bottom:2px solid #1a1a1a;padding-bottom:2px}h3{font-size:15px;margin:16px 0 6px}\
.job{color:#5f5f5f;margin:0 0 14px}\
.verdict{display:flex;align-items:center;gap:16px;border:3px solid #1a1a1a;padding:12px 16px;margin:14px 0}\
.verdict p{margin:0;font-size:20px;font-weight:bold}.verdict small{display:block;font-size:14px;font-weight:normal}\
.verdict.fail{border:6px double #1a1a1a}.verdict svg{flex:none;width:64px;height:64px}\
.caution{border-left:8px solid #1a1a1a;background:#f4f4f4;padding:8px 14px;margin:14px 0}.caution ul{margin:4px 0;padding-left:20px}\
table{border-collapse:collapse;margin:6px 0 10px}th,td{border:1px solid #9a9a9a;padding:3px 9px;text-align:left;vertical-align:top}\
thead th{background:#ececec}td.n,th.n{text-align:right;white-space:nowrap;font-variant-numeric:tabular-nums}\
tr.no td{font-weight:bold}tr.fault td{font-weight:bold;background:#f4f4f4}\
.sum{font-size:17px}.sum b{font-variant-numeric:tabular-nums}\
figure{margin:10px 0 18px}figure svg{width:100%;height:auto;border:1px solid #d9d9d9}figcaption{font-size:14px;margin-bottom:6px}\
.digest{font-family:monospace}\
@page{margin:12mm}\
@media print{body{padding:0;max-width:none;font-size:10.5pt}h2{break-after:avoid}figure,.verdict,.caution,tr{break-inside:avoid}\
figure svg{max-height:235mm}thead{display:table-header-group}*{print-color-adjust:exact;-webkit-print-color-adjust:exact}}";

/// A whole page; `more` is style of its own.
pub(super) fn page(title: &str, more: &str, body: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(STYLE)) (PreEscaped(more)) }
            }
            body { (body) }
        }
    }
    .into_string()
}
