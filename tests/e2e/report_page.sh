#!/bin/sh
# report_page.sh PROGRAM BUILD_DIR REFERENCE_DIR - writes reports and has a browser look at
# them (report_page.mjs). What npm brings is kept in the build folder.
set -eu
program=$1
build=$2
references=$3
here=$(cd "$(dirname "$0")" && pwd)
modules=$build/page-modules
mkdir -p "$modules"
if ! cmp -s "$here/package-lock.json" "$modules/installed-lock.json"; then
    cp "$here/package.json" "$here/package-lock.json" "$modules/"
    (cd "$modules" && npm ci --no-audit --no-fund --ignore-scripts --loglevel=error)
    cp "$here/package-lock.json" "$modules/installed-lock.json"
fi
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
"$program" demo "$work/demo" >/dev/null 2>&1
find "$work/demo" -name report.html -exec cp {} "$work/demo.html" \;
for case in varcomp-dyestuff nist-smls07 splitplot-oats; do
    "$program" report "$references/$case/protocol.yaml" "$references/$case/data.csv" \
        -o "$work/$case" >/dev/null 2>&1
    cp "$work/$case/report.html" "$work/$case.html"
done
node "$here/report_page.mjs" "$modules" "$(command -v chromium)" "$work"/*.html
