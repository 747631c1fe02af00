# R's lines first, then quincunx's: see bench/run. 6 digits: half a unit of the sixth, as in
# examples.py; for p values 1e-10 is always enough (R's studentised range is not better).
function half_unit(want) {
    return 5e-6 * (want < 0 ? -want : want)
}
function sorted_insert(side, what, x,    i, n) {
    n = ++count[side, what]
    for (i = n; i > 1 && times[side, what, i - 1] > x; i--) {
        times[side, what, i] = times[side, what, i - 1]
    }
    times[side, what, i] = x
}
function median(side, what,    n) {
    n = count[side, what]
    return (times[side, what, int((n + 1) / 2)] + times[side, what, int((n + 2) / 2)]) / 2
}
function minimum(side, what) {
    return times[side, what, 1]
}
FNR == 1 { side++ }
$1 == "time" { sorted_insert(side, $2, $3 + 0) }
$1 == "memory" { memory[side] = $2 }
$1 == "value" && side == 1 { expected[$2] = $3 }
$1 == "value" && side == 2 { found[$2] = $3 }
END {
    for (key in expected) {
        compared++
        gap = found[key] - expected[key]
        gap = gap < 0 ? -gap : gap
        is_p = key ~ /^p/
        if (!(key in found) || !(gap <= half_unit(expected[key]) || (is_p && gap <= 1e-10))) {
            printf "differs: %s: R %s, quincunx %s\n", key, expected[key], found[key]
            differ++
        }
    }
    printf "%d numbers compared, %d differ (F, df, p, means, differences, adjusted p; 6 digits)\n",
        compared, differ
    split("whole fit", what)
    for (i = 1; i <= 2; i++) {
        w = what[i]
        printf "%-6s R median %.1f ms, minimum %.1f ms (%d runs); ", w,
            1e3 * median(1, w), 1e3 * minimum(1, w), count[1, w]
        printf "quincunx median %.3f ms, minimum %.3f ms (%d runs); ",
            1e3 * median(2, w), 1e3 * minimum(2, w), count[2, w]
        ratio[w] = median(1, w) / median(2, w)
        least = minimum(1, w) / minimum(2, w)
        printf "%.0f times faster (of the minima: %.0f)\n", ratio[w], least
        if (least < ratio[w]) {
            ratio[w] = least
        }
    }
    printf "peak memory: R %.0f MiB, quincunx %.1f MiB\n", memory[1] / 1024, memory[2] / 1024
    if (compared == 0 || differ > 0) {
        exit 1
    }
    if (ratio["whole"] < 200) {
        print "goal missed: the whole analysis at least 200 times faster"
        exit 1
    }
    print "goal met: the whole analysis at least 200 times faster, same numbers"
}
