# Read in by checks in other languages that need a daemon.

# begin_daemon PROGRAM SCRATCH-FOLDER NAME: one over the virtual bench, with a store of its own; $address is where it listens. It ends with the check.
begin_daemon() {
    local program=$1 place=$2/$3
    "$program" --records "$place.sqlite" serve --virtual --listen 127.0.0.1:0 >"$place.out" 2>"$place.err" &
    daemon=$!
    trap 'kill "$daemon" 2>/dev/null || true' EXIT
    address=
    for _ in $(seq 600); do
        address=$(sed -n 's!.*\(http://[0-9.:]*\)/.*!\1!p' "$place.out")
        [ -n "$address" ] && return
        kill -0 "$daemon" 2>/dev/null || break
        sleep 0.1
    done
    echo "the daemon does not listen:" >&2
    cat "$place.err" >&2
    return 1
}

# end_daemon: asks it to end; fails unless it ends well.
end_daemon() {
    kill -TERM "$daemon"
    wait "$daemon"
}
