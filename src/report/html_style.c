/* report/html_style.c - one ink, one accent, system fonts; light, dark, paper.
 *
 * Widths are in rem and per cent, so that a page holds from 360 px upwards and when letters
 * are enlarged. On paper: black on white, links and skip link gone, nothing cut between a
 * picture and its caption, pictures never taller than the page. */
#include "report/html_style.h"

#include "report/palette.h"

static const char page[] =
    "*{box-sizing:border-box}"
    "html{background:var(--qx-paper);color:var(--qx-main);"
    "font:1rem/1.55 system-ui,-apple-system,\"Segoe UI\",Roboto,\"Noto Sans\",sans-serif;"
    "font-variant-numeric:tabular-nums lining-nums;-webkit-text-size-adjust:100%}"
    "body{margin:0 auto;max-width:56rem;padding:0 1rem 3rem;overflow-wrap:anywhere}"
    "a{color:inherit;text-underline-offset:.2em}"
    ".skip{position:absolute;left:-99rem}"
    ".skip:focus{left:1rem;top:.5rem;background:var(--qx-paper);padding:.5rem;z-index:2}"
    ":focus-visible{outline:3px solid var(--qx-accent);outline-offset:2px}"
    "header{padding:1.5rem 0 .5rem;border-bottom:2px solid var(--qx-main)}"
    ".maker{display:flex;gap:.6rem;align-items:center;color:var(--qx-soft);"
    "font-size:.9rem;margin:0}"
    ".mark{width:1.5rem;height:1.5rem;flex:none}"
    "h1{font-size:clamp(1.5rem,1.1rem + 2vw,2.2rem);line-height:1.2;margin:.6rem 0 .4rem;"
    "font-weight:650;text-wrap:balance}"
    "h2{font-size:1.45rem;line-height:1.25;margin:2.6rem 0 .8rem;padding-top:.5rem;"
    "border-top:1px solid var(--qx-rule);font-weight:650}"
    "h3{font-size:1.15rem;margin:1.8rem 0 .5rem;font-weight:650}"
    "h4{font-size:1rem;margin:1.2rem 0 .4rem;color:var(--qx-soft);font-weight:600}"
    "p{margin:.5rem 0;max-width:44rem}"
    "nav ul{list-style:none;display:flex;flex-wrap:wrap;gap:.2rem 1.2rem;padding:0;"
    "margin:.8rem 0}nav a{display:inline-block;padding:.25rem 0}"
    ".warning{border:2px solid var(--qx-accent);padding:.6rem .9rem;margin:1rem 0;"
    "font-weight:600;max-width:none}";

static const char blocks[] =
    ".findings{list-style:none;padding:0;margin:.6rem 0}"
    ".findings li{border-left:4px solid var(--qx-rule);padding:.15rem 0 .15rem .9rem;"
    "margin:.7rem 0;max-width:46rem}"
    ".findings li.shown{border-color:var(--qx-accent)}"
    ".verdict{display:block;font-size:.9rem;font-weight:650;color:var(--qx-soft)}"
    ".shown .verdict{color:var(--qx-accent)}"
    ".finding{display:block}"
    ".note,.caution{border-left:4px solid var(--qx-soft);padding:.1rem 0 .1rem .9rem;"
    "margin:.7rem 0;max-width:46rem}"
    ".note strong,.caution strong{font-weight:650}"
    "dl{display:grid;grid-template-columns:minmax(7rem,12rem) 1fr;gap:.35rem 1rem;"
    "margin:.8rem 0;max-width:50rem}"
    "dt{color:var(--qx-soft)}dd{margin:0;min-width:0}"
    "@media(max-width:34rem){dl{grid-template-columns:1fr;gap:0}dd{margin:0 0 .6rem}}"
    ".charts{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(20rem,100%),"
    "1fr));gap:1.5rem 2rem;align-items:start;margin:1rem 0 1.5rem}"
    "figure{margin:0;min-width:0}"
    "figcaption{font-weight:600;margin:0 0 .5rem;font-size:.95rem}"
    ".chart{display:block;width:100%;max-width:32rem;height:auto;"
    "font-family:inherit;font-variant-numeric:tabular-nums}"
    ".chart text{paint-order:stroke;stroke:var(--qx-paper);stroke-width:3px;"
    "stroke-linejoin:round}"
    /* A shadow stands at the edge that hides more; covers that move with the table take it
     * away at its ends. */
    ".table{overflow-x:auto;margin:1.2rem 0;background:"
    "linear-gradient(to right,var(--qx-paper) 40%,transparent) 0 0/2.5rem 100% local,"
    "linear-gradient(to left,var(--qx-paper) 40%,transparent) 100% 0/2.5rem 100% local,"
    "linear-gradient(to right,var(--qx-rule),transparent) 0 0/1rem 100% scroll,"
    "linear-gradient(to left,var(--qx-rule),transparent) 100% 0/1rem 100% scroll;"
    "background-repeat:no-repeat}"
    ".swipe{display:none;font-weight:400;font-size:.85rem;color:var(--qx-soft)}"
    "@media screen and (max-width:34rem){.swipe{display:block}}"
    "table{border-collapse:collapse;border-top:1.5px solid var(--qx-main);"
    "border-bottom:1.5px solid var(--qx-main);font-size:.95rem;overflow-wrap:normal}"
    "caption span{display:block;position:sticky;left:0;max-width:calc(100vw - 2rem)}"
    "caption{min-width:min(30rem,85vw);text-align:left;text-wrap:balance;font-weight:600;"
    "padding:0 0 .4rem}"
    "th,td{padding:.28rem .9rem .28rem 0;vertical-align:baseline;text-align:left;"
    "font-weight:400}"
    "th:last-child,td:last-child{padding-right:0}"
    "thead th{border-bottom:1px solid "
    "var(--qx-main);font-weight:600;vertical-align:bottom}"
    "td.n,th.n{text-align:right}td.n{white-space:nowrap}"
    "tbody th{max-width:22rem}"
    "@media screen and (max-width:48rem){tbody th[scope=row]{position:sticky;left:0;"
    "background:var(--qx-paper);max-width:9rem;padding-left:0}}"
    "tr.group th{padding-top:.7rem;font-style:italic;color:var(--qx-soft)}"
    "tr.sum th,tr.sum td{color:var(--qx-soft)}"
    ".foot{font-size:.88rem;color:var(--qx-soft);margin:.3rem 0;max-width:46rem}"
    "footer{margin-top:3rem;border-top:1px solid var(--qx-rule);color:var(--qx-soft);"
    "font-size:.9rem}";

static const char paper[] =
    "html{font-size:10.5pt}body{max-width:none;padding:0}"
    ".skip,nav{display:none}a{text-decoration:none}"
    "h2,h3,h4,caption,figcaption{break-after:avoid}"
    "figure,li,.note,.caution,.warning,tr,.short{break-inside:avoid}"
    "thead{display:table-header-group}"
    "p,li{orphans:3;widows:3}"
    ".charts{display:block}"
    "figure{display:inline-block;width:47%;margin:0 4mm 5mm 0;vertical-align:top}"
    ".chart{width:auto;max-width:100%;max-height:215mm}"
    ".table{overflow:visible;background:none}table{font-size:9pt}th,td{padding-right:."
    "6rem}"
    "td.n{white-space:normal}";

void qx_html_style(qx_text *out)
{
    qx_text_add(out, ":root{color-scheme:light dark;");
    qx_palette_css(out, 0);
    qx_text_add(out, "}@media(prefers-color-scheme:dark){:root{");
    qx_palette_css(out, 1);
    qx_text_add(out, "}}@media print{:root{color-scheme:light;");
    qx_palette_css(out, 2);
    qx_text_add(out, "}}");
    qx_palette_classes(out);
    qx_text_add(out, page);
    qx_text_add(out, blocks);
    qx_text_add(out, "@page{margin:16mm 15mm 18mm}@media print{");
    qx_text_add(out, paper);
    qx_text_add(out, "}");
}
