# SPDX-License-Identifier: GPL-3.0-or-later
# Made by `upthrust --print bash-completion`.
_upthrust_items() {
    local i name start=${2#[\"\']} where=()
    start=${start//\\/}
    for ((i = 1; i < COMP_CWORD; i++)); do
        [[ ${COMP_WORDS[i - 1]} != --catalogue ]] || where=("${COMP_WORDS[i]}")
    done
    while IFS= read -r name; do
        [[ $name == "$start"* ]] || continue
        case $2 in
        \"*) [[ $name == *[\`\$\"\\!]* ]] || COMPREPLY+=("$name") ;;
        \'*) [[ $name == *\'* ]] || COMPREPLY+=("$name") ;;
        *) printf -v name %q "$name" && COMPREPLY+=("$name") ;;
        esac
    done < <("$1" --print items "${where[@]}" 2>/dev/null)
}
_upthrust() {
    local cur=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]}
    local command=${COMP_WORDS[1]} words= kind=words
    COMPREPLY=()
    if ((COMP_CWORD == 1)) || { ((COMP_CWORD == 2)) && [[ $command == help ]]; }; then
        words='@COMMANDS@help'
    else case $command:$before in
@CASES@
    esac; fi
    case $kind in
    items) _upthrust_items "${1:-${COMP_WORDS[0]}}" "$cur" ;;
    -d | -f) compopt -o filenames 2>/dev/null
        mapfile -t COMPREPLY < <(compgen "$kind" -- "$cur") ;;
    words) mapfile -t COMPREPLY < <(compgen -W "$words" -- "$cur") ;;
    esac
}
complete -F _upthrust upthrust
