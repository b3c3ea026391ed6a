# Sourced by `run`: a Slurm of one node and an ssh server. Their files stand in a folder and they listen on ports of their
# own, so that what else is on the machine is left alone. `stop_services` stops them.
# shellcheck shell=bash

# The last started is stopped first.
started=()

# Starts a program in the background and notes it, so that it is stopped: start LOG PROGRAM [OPTION]…
start() {
    local log=$1
    shift
    "$@" >"$log" 2>&1 </dev/null &
    started=("$!" ${started[@]+"${started[@]}"})
}

queue_is_empty() {
    [ -z "$(squeue --noheader)" ]
}

stop_services() {
    local process
    # A slurmd that ends leaves its jobs running.
    if [ -n "${SLURM_CONF:-}" ]; then
        scancel --user="$(id -un)" 2>/dev/null || true
        until_holds 15 queue_is_empty || true
    fi
    for process in ${started[@]+"${started[@]}"}; do
        kill "$process" 2>/dev/null || true
        wait "$process" 2>/dev/null || true
    done
    started=()
}

# Waits until a command holds, for at most so many seconds: until_holds SECONDS COMMAND…
until_holds() {
    local left=$(($1 * 10))
    shift
    until "$@" >/dev/null 2>&1; do
        left=$((left - 1))
        [ "$left" -gt 0 ] || return 1
        sleep 0.1
    done
}

# A port of this machine at which nobody listens.
free_port() {
    python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])'
}

node_is_idle() {
    [ "$(sinfo --noheader --format %T)" = idle ]
}

# A Slurm of one node: start_slurm FOLDER. Exports SLURM_CONF, by which its commands find it.
start_slurm() {
    local folder=$1 host cpus memory
    mkdir -p "$folder/state" "$folder/spool"
    host=$(hostname -s)
    cpus=$(nproc)
    memory=$(awk '/^MemTotal/ { print int($2 / 1024 * 0.9) }' /proc/meminfo)
    head -c 1024 /dev/urandom >"$folder/munge.key"
    chmod 600 "$folder/munge.key"
    # cred_expire: what is queued again starts after this many seconds, which are 120 otherwise.
    # task/affinity: a task on one CPU sees one.
    cat >"$folder/slurm.conf" <<END
ClusterName=turnhue
SlurmctldHost=$host(127.0.0.1)
SlurmctldPort=$(free_port)
SlurmdPort=$(free_port)
SlurmUser=root
AuthType=auth/munge
AuthInfo=socket=$folder/munge.socket,cred_expire=5
StateSaveLocation=$folder/state
SlurmdSpoolDir=$folder/spool
SlurmctldPidFile=$folder/slurmctld.pid
SlurmdPidFile=$folder/slurmd.pid
MpiDefault=none
ProctrackType=proctrack/linuxproc
TaskPlugin=task/affinity
SelectType=select/cons_tres
SelectTypeParameters=CR_Core_Memory
SchedulerParameters=sched_interval=1,batch_sched_delay=0,bf_interval=1
ReturnToService=2
KillWait=10
NodeName=$host NodeAddr=127.0.0.1 CPUs=$cpus RealMemory=$memory
PartitionName=night Nodes=$host Default=YES MaxTime=60
END
    export SLURM_CONF=$folder/slurm.conf
    start "$folder/munged.log" munged --foreground --force --key-file="$folder/munge.key" --socket="$folder/munge.socket" \
        --pid-file="$folder/munged.pid" --log-file="$folder/munged.log" --seed-file="$folder/munged.seed"
    until_holds 10 test -S "$folder/munge.socket" || return 1
    start "$folder/slurmctld.log" slurmctld -D -c
    start "$folder/slurmd.log" slurmd -D
    until_holds 30 node_is_idle
}

# An ssh server that greets, as many do: start_ssh FOLDER HOST… Writes FOLDER/config, by which `ssh -F` reaches each HOST, all
# of them this machine.
start_ssh() {
    local folder=$1 host port
    shift
    mkdir -p "$folder" /run/sshd
    port=$(free_port)
    ssh-keygen -q -t ed25519 -N '' -f "$folder/host_key"
    ssh-keygen -q -t ed25519 -N '' -f "$folder/user_key"
    cat >"$folder/sshd_config" <<END
ListenAddress 127.0.0.1
Port $port
HostKey $folder/host_key
AuthorizedKeysFile $folder/user_key.pub
PidFile none
StrictModes no
PasswordAuthentication no
UsePAM no
ForceCommand echo "welcome, and mind the step"; eval "\$SSH_ORIGINAL_COMMAND"
END
    for host in "$@"; do
        echo "$host $(cat "$folder/host_key.pub")" >>"$folder/known_hosts"
        cat >>"$folder/config" <<END
Host $host
    HostName 127.0.0.1
    HostKeyAlias $host
    Port $port
    User root
    IdentityFile $folder/user_key
    IdentitiesOnly yes
    UserKnownHostsFile $folder/known_hosts
    StrictHostKeyChecking yes
    BatchMode yes
END
    done
    start "$folder/sshd.log" "$(command -v sshd)" -D -e -f "$folder/sshd_config"
    until_holds 10 ssh -F "$folder/config" "$1" true
}
