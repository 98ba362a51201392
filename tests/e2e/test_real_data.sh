#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# Open data sets through the whole program, each as the CSV of an invented station with its own
# line description. Expected numbers are computed here by R from its own copy of the data:
#   Oxide        r-cran-nlme; semiconductor oxide thickness, lots / wafers / sites
#                (Pinheiro, Bates, Mixed-Effects Models in S and S-PLUS, 2000)
#   Nile         R datasets; yearly flow (Cobb, The problem of the Nile, Biometrika 65, 1978)
#   discoveries  R datasets; yearly counts (World Almanac 1975, as quoted in McNeil 1977)
#   warpbreaks   R datasets; warp breaks per loom (Tippett 1950), u chart with equal lengths
#   morley       R datasets; light speed (Michelson 1882, as in StRD Michelso), subgroups of 5
# Times do not belong to these data: rows get one an hour (a day for yearly data).
. "$AN_SOURCE_DIR/tests/e2e/support.sh"
command -v Rscript >/dev/null || { echo "Rscript is missing: run sh tests/run.sh" >&2; exit 1; }

Rscript --vanilla - <<'R' || exit 1
library(nlme)
options(digits = 17)
stamp <- function(n, step) format(as.POSIXct("2026-01-05 00:30:00", tz = "UTC") + step * (seq_len(n) - 1), "%Y-%m-%dT%H:%M:%SZ")
put <- function(name, ...) cat(sprintf("%s=%s\n", name, paste(sprintf("%.15g", c(...)), collapse = " ")), file = "expected", append = TRUE)
for (d in c("oxide", "nile", "discoveries", "morley", "warpbreaks")) dir.create(file.path(d, "spool"), recursive = TRUE)
d2 <- 2 / sqrt(pi)
c4 <- function(n) exp(lgamma(n / 2) - lgamma((n - 1) / 2)) * sqrt(2 / (n - 1))

ox <- as.data.frame(Oxide)
ox$w <- sprintf("L%s-W%s", ox$Lot, ox$Wafer)
ox <- ox[order(as.integer(as.character(ox$Lot)), as.integer(as.character(ox$Wafer)), as.integer(as.character(ox$Site))), ]
write.csv(data.frame(wafer = ox$w, lot = paste0("L", ox$Lot), site = ox$Site, thickness_a = ox$Thickness,
  measured_at = stamp(nrow(ox), 1200)), "oxide/spool/ox.csv", row.names = FALSE, quote = FALSE)
m <- tapply(ox$Thickness, factor(ox$w, unique(ox$w)), mean)
v <- tapply(ox$Thickness, factor(ox$w, unique(ox$w)), var)
put("oxide_samples", length(m)); put("oxide_centre", mean(m))
put("oxide_sigma_level", mean(abs(diff(m))) / d2); put("oxide_sigma_within", sqrt(mean(v)) / c4(sum(lengths(split(ox$w, ox$w)) - 1) + 1))
put("oxide_readings", nrow(ox)); put("oxide_mean", mean(ox$Thickness)); put("oxide_sd", sd(ox$Thickness))
put("oxide_ppk", min(2050 - mean(ox$Thickness), mean(ox$Thickness) - 1950) / (3 * sd(ox$Thickness)))

x <- as.numeric(Nile)
write.csv(data.frame(year = paste0("Y", 1870 + seq_along(x)), flow = x, at = stamp(length(x), 86400)),
  "nile/spool/nile.csv", row.names = FALSE, quote = FALSE)
b <- x[1:28]
put("nile_centre", mean(b)); put("nile_sigma_level", mean(abs(diff(b))) / d2)
put("nile_lag1", sum((b[-1] - mean(b)) * (b[-28] - mean(b))) / sum((b - mean(b))^2))
put("nile_first_below", 1870 + which(x < mean(b) - 3 * mean(abs(diff(b))) / d2))

k <- as.numeric(discoveries)
write.csv(data.frame(year = paste0("Y", 1859 + seq_along(k)), found = k, at = stamp(length(k), 86400)),
  "discoveries/spool/d.csv", row.names = FALSE, quote = FALSE)
put("discoveries_centre", mean(k)); put("discoveries_sigma", sqrt(mean(k)))
put("discoveries_above", 1859 + which(k > mean(k) + 3 * sqrt(mean(k))))

s <- morley$Speed
write.csv(data.frame(run = sprintf("R%03d", seq_along(s)), speed = s, at = stamp(length(s), 600)),
  "morley/spool/m.csv", row.names = FALSE, quote = FALSE)
g <- matrix(s, nrow = 5)
sb <- mean(apply(g, 2, sd))
put("morley_centre", mean(colMeans(g))); put("morley_sigma_within", sb / c4(5))
put("morley_sigma_level", sb / c4(5) / sqrt(5)); put("morley_sd", sd(s))

w <- warpbreaks$breaks
write.csv(data.frame(loom = sprintf("W%02d", seq_along(w)), breaks = w, length = 10, at = stamp(length(w), 3600)),
  "warpbreaks/spool/w.csv", row.names = FALSE, quote = FALSE)
u <- w / 10; ub <- sum(w) / (10 * length(w)); z <- (u - ub) / sqrt(ub / 10)
put("warpbreaks_centre", ub); put("warpbreaks_dispersion", mean(abs(diff(z))) / d2)
R

describe() { # folder kind id item-column time-column characteristic...
    cat >"$1/line.yaml" <<END
line: $1
zone: UTC
shifts: {day: 00:00, late: 12:00}
kinds:
  $2: {product: yes}
stations:
  bench:
    folder: spool
    time: {column: $4}
    item: {kind: $2, column: $3}
    characteristics:
$5
END
}
describe oxide wafer wafer measured_at '      thickness: {title: Oxide thickness, column: thickness_a, unit: angstrom, family: between_within, spec: {target: 2000, lower: 1950, upper: 2050}, ribbon: {column: lot}}'
describe nile year year at '      flow: {column: flow, unit: 1e8 m3, subgroup: row, family: individuals}'
describe discoveries year year at '      found: {count: found, family: c}'
describe morley run run at '      speed: {column: speed, unit: km/s, subgroup: {every: 5}, family: xbar_s}'
describe warpbreaks loom loom at '      breaks: {count: breaks, opportunities: length, family: u_prime}'

want() { sed -n "s/^$1=//p" expected; }
limit() { jq -r ".data[0].$2" "$1/limits.json"; }

for set in oxide nile discoveries morley warpbreaks; do
    ANDAMENTO_STORE=$scratch/$set/line.store
    export ANDAMENTO_STORE
    exits 0 "$set init" "$ANDAMENTO" init "$set/line.yaml"
    exits 0 "$set collect" "$ANDAMENTO" collect "$set/spool"
    base=
    [ "$set" = nile ] && base='--samples 28'
    "$ANDAMENTO" limits propose --all $base --json >"$set/limits.json" 2>"$set/limits.err"
    exits 0 "$set lock" "$ANDAMENTO" limits lock --all --author 'A. Reader' --reason "whole set $base"
    "$ANDAMENTO" check --json >"$set/check.json"
    "$ANDAMENTO" capability --json >"$set/capability.json"
    exits 0 "$set report" "$ANDAMENTO" report shift -o "$set/shift.pdf"
    ok "$set report has text" sh -c "pdftotext $set/shift.pdf - | grep -q ."
    exits 0 "$set export" "$ANDAMENTO" export -o "$set/export.csv"
    exits 0 "$set verify" "$ANDAMENTO" verify
done

near 'oxide samples' "$(limit oxide baseline_samples)" "$(want oxide_samples)" 0
near 'oxide centre' "$(limit oxide centre)" "$(want oxide_centre)" 1e-12
near 'oxide sigma of the level' "$(limit oxide sigma_level)" "$(want oxide_sigma_level)" 1e-11
near 'oxide sigma within' "$(limit oxide sigma_within)" "$(want oxide_sigma_within)" 1e-11
near 'oxide readings' "$(jq -r '.data[0].readings' oxide/capability.json)" "$(want oxide_readings)" 0
near 'oxide mean' "$(jq -r '.data[0].mean' oxide/capability.json)" "$(want oxide_mean)" 1e-13
near 'oxide sd' "$(jq -r '.data[0].sigma_overall' oxide/capability.json)" "$(want oxide_sd)" 1e-12
near 'oxide ppk' "$(jq -r '.data[0].ppk.value' oxide/capability.json)" "$(want oxide_ppk)" 1e-11
near 'nile centre' "$(limit nile centre)" "$(want nile_centre)" 1e-13
near 'nile sigma' "$(limit nile sigma_level)" "$(want nile_sigma_level)" 1e-12
near 'nile lag-1 autocorrelation' "$(limit nile lag1_autocorrelation)" "$(want nile_lag1)" 1e-10
# Cobb 1978: the flow fell after 1898; the signal's onset must include 1899
same 'nile: the fall is signalled, and dated to 1899' \
    "$(jq -r '[.data.signals[] | select(.side == "below")][0].items[0]' nile/check.json)" Y1899
near 'discoveries centre' "$(limit discoveries centre)" "$(want discoveries_centre)" 1e-13
near 'discoveries sigma' "$(limit discoveries sigma_level)" "$(want discoveries_sigma)" 1e-12
same 'discoveries: years above the limit' \
    "$(awk -F, 'NR == 1 { for (i = 1; i <= NF; i++) c[$i] = i; next } $c["level_rules"] ~ /B\+/ { sub("Y", "", $c["item"]); printf "%s%s", s, $c["item"]; s = " " }' discoveries/export.csv)" \
    "$(want discoveries_above)"
near 'morley centre' "$(limit morley centre)" "$(want morley_centre)" 1e-13
near 'morley sigma within' "$(limit morley sigma_within)" "$(want morley_sigma_within)" 1e-12
near 'morley sigma of means' "$(limit morley sigma_level)" "$(want morley_sigma_level)" 1e-12
near 'morley overall sd' "$(jq -r '.data[0].sigma_overall' morley/capability.json)" "$(want morley_sd)" 1e-13
near 'warpbreaks centre' "$(limit warpbreaks centre)" "$(want warpbreaks_centre)" 1e-13
near 'warpbreaks dispersion' "$(limit warpbreaks dispersion)" "$(want warpbreaks_dispersion)" 1e-11
done_testing
