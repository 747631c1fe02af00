# R's lines first, then quincunx's at three sizes: see bench/run-large. Criteria agree when
# they differ by less than half a unit of the ninth digit.
function ratio(a, b) { return b > 0 ? a / b : 0 }
FNR == 1 {
    side++
    n = split(FILENAME, part, "-")
    size[side] = side > 1 ? part[n] : rows
}
$1 == "sum" { sum[side] = $2 }
$1 == "criterion" { criterion[side] = $2 }
$1 == "time" && $2 == "read" { read[side] = $3 }
$1 == "time" && $2 == "fit" && (!(side in time) || $3 < time[side]) { time[side] = $3 }
$1 == "memory" && $2 == "data" { data[side] = $3 }
$1 == "memory" && $2 == "peak" { peak[side] = $3 }
END {
    printf "%s\n", kind
    printf "  %-9s %9s rows: fit %8.3f s, criterion %.10g, memory %5.0f MiB (data %.0f)\n",
        "R", rows, time[1], criterion[1], peak[1] / 1024, data[1] / 1024
    for (s = 2; s <= side; s++) {
        printf "  %-9s %9s rows: fit %8.3f s, criterion %.10g, memory %5.0f MiB (data %.0f), %.2f us a row, %.0f times reading the columns once\n",
            "quincunx", size[s], time[s], criterion[s], peak[s] / 1024, data[s] / 1024,
            time[s] / size[s] * 1e6, ratio(time[s], read[s])
        if (size[s] + 0 == rows + 0) {
            same = s
        }
    }
    gap = criterion[same] / criterion[1] - 1
    gap = gap < 0 ? -gap : gap
    apart = sum[same] / sum[1] - 1
    apart = apart < 0 ? -apart : apart
    faster = ratio(time[1], time[same])
    smaller = ratio(peak[1], peak[same])
    printf "  %.0f times faster, %.1f times less memory; criteria differ by %.1e, sums of y by %.1e (relative)\n",
        faster, smaller, gap, apart
    exit !(gap < 8e-10 && apart < 1e-13 && faster >= 20 && smaller >= 3)
}
