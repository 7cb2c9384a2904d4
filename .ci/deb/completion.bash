# Completion of offtype for bash: commands, sub-commands and options are asked of the program itself,
# so that they are always those of the installed version.
_offtype() {
	local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]}
	local all command="" i
	all=$(offtype --help 2>/dev/null | sed -n '/^Commands:/,$s/^  \([a-z-]*\)\( [a-z-]\{1,\}\)\{0,1\}  .*/\1\2/p')
	for ((i = 1; i < COMP_CWORD; i++)); do # the words so far that are a command
		if grep -qE "^${command:+$command }${COMP_WORDS[i]}( |\$)" <<<"$all"; then
			command="${command:+$command }${COMP_WORDS[i]}"
		else
			break
		fi
	done
	case $before in
	--pose) COMPREPLY=($(compgen -W "auto side upright" -- "$word")); return ;;
	--paper) COMPREPLY=($(compgen -W "a4 letter" -- "$word")); return ;;
	--white) COMPREPLY=($(compgen -W "d65 d50" -- "$word")); return ;;
	esac
	local next
	next=$(sed -n "s/^${command:+$command }\([a-z-]\{1,\}\).*/\1/p" <<<"$all" | sort -u)
	if [[ $word == -* ]]; then
		COMPREPLY=($(compgen -W "$(offtype $command --help 2>/dev/null | grep -oE '^ +(-[a-z], )?--[a-z-]+' | grep -oE -- '--[a-z-]+')" -- "$word"))
	elif [[ -n $next ]]; then
		COMPREPLY=($(compgen -W "$next" -- "$word"))
	fi
}
complete -o default -o bashdefault -F _offtype offtype
