#!/usr/bin/env bash
# Trains all networks: train.sh PYTHON SECONDS OUT. Two embedders, each on half of the cards, and on the last card the cutout beside one.
set -eu
python=$1 seconds=$2 out=$3
here=$(dirname "$0")
last=$(($(nvidia-smi -L | wc -l) - 1))
if [ "$last" -lt 1 ]; then
	echo "two CUDA cards are needed; on one run train_embedder.py (twice, --seed 11 and 101) and train_cutout.py one after the other" >&2
	exit 1
fi

embedder() { # name, seed, first card, last card
	CUDA_VISIBLE_DEVICES=$(seq -s, "$3" "$4") "$python" -m torch.distributed.run --standalone --nproc-per-node=$(($4 - $3 + 1)) \
		"$here/train_embedder.py" --out "$out/$1" --seed "$2" --seconds "$seconds" &
}

trap 'kill $(jobs -p) 2>/dev/null || true' EXIT
embedder first 11 0 $((last / 2))
first=$!
embedder second 101 $((last / 2 + 1)) "$last"
second=$!
CUDA_VISIBLE_DEVICES=$last "$python" "$here/train_cutout.py" --out "$out" --seconds "$seconds" &
cutout=$!
failed=
for part in first second cutout; do # one that fails leaves the others to their end: their weights are of use without it
	wait "${!part}" || failed="$failed $part"
done
if [ -n "$failed" ]; then
	echo "failed:$failed; the others' weights are in $out" >&2
	exit 1
fi
